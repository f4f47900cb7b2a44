package chairtime

import "chairblock/scheduling"

// Figures are the salon's own figures that lines to watch for may name, by
// placeholder and in units of u, see scheduling.Fill.
func (c Settings) Figures(u Units) map[string]string {
	percent := func(share float64) string { return brief(100*share) + " %" }
	return map[string]string{
		scheduling.FigureOffScalp:   u.Length(c.OffScalp),
		scheduling.FigureDry:        percent(c.DryFraction),
		scheduling.FigureDryDamaged: percent(c.DryFractionDamaged),
		scheduling.FigureDwell:      brief(c.DwellMin) + " minutes",
		scheduling.FigureIronMax:    u.Heat(c.IronMax),
		scheduling.FigureIronTender: u.Heat(c.IronMaxDamaged),
	}
}
