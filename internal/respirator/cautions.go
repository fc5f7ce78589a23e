package respirator

import "dustlog/internal/words"

// cautionText is what a caution says; its source stands in the table of factors.
func cautionText(id string) words.Text {
	switch id {
	case "fit":
		return words.Of("A tight-fitting mask protects only after a fit test of this mask on this face, repeated yearly and after any change, and with a seal check each time it is put on.")
	case "hair":
		return words.Of("No beard or stubble under the seal. A bearded wearer needs a loose-fitting powered device.")
	case "medical":
		return words.Of("Medical evaluation comes before the fit test, and required use needs a written program.")
	case "filter":
		return words.Of("Against dry wood dust N95 or P2 is enough as a filter; with oil or finish in the air take R or P in place of N. A better filter does not raise the factor of a mask that leaks at the face: an N100 half mask counts as a half mask.")
	case "nuisance":
		return words.Of("A comfort mask without an approval mark is no respirator.")
	case "air":
		return words.Of("Filters give no oxygen and stop no gas or vapour: none of the filtering classes where oxygen may be short, as in a silo or pit.")
	case "unworn":
		return words.Of("Minutes without it count in full: worn for 90 %% of the dusty time, a factor of 20 is worth 6.9.")
	case "fire":
		return words.Of("Wood dust whirled up can explode: no blowing down, no dry sweeping of fine dust; this sensor says nothing of that, and an unrated one does not belong in ducts, filters or bins.")
	case "controls":
		return words.Of("Capture at the source comes first; a respirator is the last line. Local codes and licensed practice come before this answer.")
	}
	return words.Text{}
}

// elsewhere says why there are no more tables of factors.
func elsewhere() words.Text {
	return words.Of("Assigned protection factors are national: FFP3 counts 20 in the United Kingdom and 30 in Germany, a full face mask with P3 40 and 400. Australia and New Zealand (AS/NZS 1715) and others have tables of their own, which are not in here: where you work, theirs hold.")
}
