package cli

// cautionShort stands in help texts and under terminal results.
const cautionShort = `A low-cost optical sensor sees fine dust only. It can show change and warn; it
cannot clear an inhalable-dust limit. Local codes, licensed practice and a
hygienist's filter sample come first.`
