package chairtime

import "chairblock/scheduling"

// Figures are the figures of the maker, and the salon's own for the rest, that lines to watch for may name, by
// placeholder and in units of u, see scheduling.Fill.
func (c Settings) Figures(u Units) map[string]string {
	percent := func(share float64) string { return brief(100*share) + " %" }
	return map[string]string{
		scheduling.FigureOffScalp:   u.Length(c.OffScalp),
		scheduling.FigureDry:        percent(c.DryBefore(false)),
		scheduling.FigureDryDamaged: percent(c.DryBefore(true)),
		scheduling.FigureDwell:      brief(c.NeutralizerWorks()) + " minutes",
		scheduling.FigureIronMax:    u.Heat(c.IronMax),
		scheduling.FigureIronTender: u.Heat(c.IronMaxDamaged),
	}
}
