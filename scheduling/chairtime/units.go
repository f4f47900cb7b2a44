package chairtime

import "math"

// CMPerInch is the length of an inch in centimetres, exact by definition.
const CMPerInch = 2.54

// Figures in the two systems are turned into each other without drift: what
// was typed in inches or °F with up to four decimals comes back as it was
// typed. Four decimals of an inch are six of a centimetre.
const (
	siDecimals    = 6
	otherDecimals = 4
)

// CMOfInches turns inches into centimetres.
func CMOfInches(in float64) float64 { return roundTo(in*CMPerInch, siDecimals) }

// InchesOfCM turns centimetres into inches.
func InchesOfCM(cm float64) float64 { return roundTo(cm/CMPerInch, otherDecimals) }

// CelsiusOfFahrenheit turns °F into °C.
func CelsiusOfFahrenheit(f float64) float64 { return roundTo((f-32)*5/9, siDecimals) }

// FahrenheitOfCelsius turns °C into °F.
func FahrenheitOfCelsius(c float64) float64 { return roundTo(c*9/5+32, otherDecimals) }

func roundTo(v float64, decimals int) float64 {
	scale := math.Pow10(decimals)
	return math.Round(v*scale) / scale
}

// Units are what a salon measures in. The zero value is centimetres and °C, in
// which everything is kept and counted; other units are for what people read
// and type.
type Units struct {
	Inches, Fahrenheit bool
}

// Length writes a length of cm centimetres, such as "35 cm" or "13.78 in".
func (u Units) Length(cm float64) string { return u.number(cm) + " " + u.LengthUnit() }

// LengthUnit is "cm" or "in".
func (u Units) LengthUnit() string {
	if u.Inches {
		return "in"
	}
	return "cm"
}

// Heat writes a temperature of c °C, such as "180 °C" or "356 °F".
func (u Units) Heat(c float64) string {
	if u.Fahrenheit {
		return brief(FahrenheitOfCelsius(c)) + " °F"
	}
	return brief(c) + " °C"
}

// InLength turns centimetres into the salon's unit.
func (u Units) InLength(cm float64) float64 {
	if u.Inches {
		return InchesOfCM(cm)
	}
	return cm
}

// OfLength turns the salon's unit into centimetres.
func (u Units) OfLength(v float64) float64 {
	if u.Inches {
		return CMOfInches(v)
	}
	return v
}

// number writes a length without its unit, with at most two decimals.
func (u Units) number(cm float64) string { return brief(u.InLength(cm)) }
