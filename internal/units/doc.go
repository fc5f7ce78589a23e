// Package units holds the quantities of a dust collector, each a type of its own in
// its SI unit, read and printed in the units that are used at the bench: m³/h and
// cfm, Pa and in. w.g., m/s and fpm, mm and inches. Standard library only.
//
// A number without its unit is refused: a factor of 1.7 hides between m³/h and cfm.
//
// The factors follow from three exact definitions and one convention: the inch is
// 25.4 mm and the pound 0.45359237 kg (international yard and pound agreement of
// 1959), standard gravity is 9.80665 m/s², and the conventional inch of water is
// 25.4 mm of water of 1000 kg/m³, 249.0889 Pa (NIST Special Publication 811, 2008,
// appendix B.8). Handbooks round other inches of water, at 20 °C or 60 °F: they
// differ by up to 0.2 %.
package units

const (
	metresPerInch    = 0.0254
	metresPerFoot    = 12 * metresPerInch
	kilogramPerPound = 0.45359237
	standardGravity  = 9.80665 // m/s²
	waterDensity     = 1000    // kg/m³, by convention

	m2PerFt2   = metresPerFoot * metresPerFoot
	m3PerFt3   = m2PerFt2 * metresPerFoot
	perMinute  = 1.0 / 60
	perHour    = 1.0 / 3600
	m3sPerCFM  = m3PerFt3 * perMinute
	msPerFPM   = metresPerFoot * perMinute
	paPerInWG  = waterDensity * standardGravity * metresPerInch
	paPerMMWG  = waterDensity * standardGravity / 1000
	kgm3PerLb  = kilogramPerPound / m3PerFt3
	m2PerIn2   = metresPerInch * metresPerInch
	kelvinZero = 273.15
)
