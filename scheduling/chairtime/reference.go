package chairtime

// ReferenceHead is one of the heads that stand for what comes into a salon: a
// change of the settings is looked at on each of them.
type ReferenceHead struct {
	Name string // for people
	Head Head
}

// ReferenceHeads returns seven heads from short and fine to very long and coarse,
// and a retouch (common practice; no sample of clients was found).
func ReferenceHeads() []ReferenceHead {
	head := func(cm float64, d Density, s Strand, p Porosity) Head {
		return Head{Length: cm, Density: d, Strand: s, Porosity: p, NewClient: true, Sections: 4, PlateWidth: 3, Hands: 1,
			Batches: 1, Curl: CurlStraight, Passes: 1}
	}
	damaged := head(35, DensityMedium, StrandFine, PorosityHigh)
	damaged.Damaged = true
	long := head(55, DensityHigh, StrandMedium, PorosityLow)
	long.Sections = 5
	longest := head(75, DensityHigh, StrandCoarse, PorosityLow)
	longest.Sections, longest.PlateWidth = 5, 4
	retouch := head(45, DensityMedium, StrandMedium, PorosityNormal)
	retouch.Regrowth, retouch.NewClient = 10, false
	return []ReferenceHead{
		{"15 cm, little hair, each hair fine", head(15, DensityLow, StrandFine, PorosityNormal)},
		{"20 cm, average", head(20, DensityMedium, StrandMedium, PorosityNormal)},
		{"35 cm, average", head(35, DensityMedium, StrandMedium, PorosityNormal)},
		{"35 cm, each hair fine, coloured and damaged", damaged},
		{"55 cm, a lot of hair, resistant", long},
		{"75 cm, a lot of hair, each hair coarse, resistant", longest},
		{"10 cm of new growth on 45 cm, returning client", retouch},
	}
}
