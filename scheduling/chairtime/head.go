package chairtime

import (
	"fmt"
	"slices"
	"strings"

	"chairblock/scheduling"
)

// Density says how many hairs grow on an area of scalp.
type Density string

// Densities. Cut-offs are below 160, 160 to 220 and above 220 hairs per cm²
// (derived from Loussouarn, El Rawadi & Genain 2005; no standard exists).
const (
	DensityLow    Density = "low"
	DensityMedium Density = "medium"
	DensityHigh   Density = "high"
)

// Strand says how thick a single hair is.
type Strand string

// Strands: below 60, 60 to 80 and above 80 µm across (Wolfram, J Am Acad
// Dermatol 48:S106, 2003, gives 60 to 80 µm for scalp hair).
const (
	StrandFine   Strand = "fine"
	StrandMedium Strand = "medium"
	StrandCoarse Strand = "coarse"
)

// Porosity says how readily hair takes up liquid.
type Porosity string

// Porosities. On screens low is "resistant" and high is "porous".
const (
	PorosityLow    Porosity = "low"
	PorosityNormal Porosity = "normal"
	PorosityHigh   Porosity = "high"
)

// Curl is the curl of the hair as it grows; "" means straight.
type Curl string

// Curls.
const (
	CurlStraight Curl = "straight"
	CurlWavy     Curl = "wavy"
	CurlCurly    Curl = "curly"
	CurlCoily    Curl = "coily"
)

// Area is a named part of the head of hair, for a visit that treats only that.
type Area string

// Areas. The first four make up the whole head; the hairline and the fringe
// lie inside them and are therefore named alone.
const (
	AreaNape      Area = "nape"
	AreaSides     Area = "sides"
	AreaCrownBack Area = "crown_back"
	AreaFrontTop  Area = "front_top"
	AreaHairline  Area = "hairline"
	AreaFringe    Area = "fringe"
)

// Bounds of a head: wide enough for whoever comes, narrow enough to find a slip of the pen,
// such as inches for centimetres (judgement, where nothing else is said). Lengths and plates
// are in cm, irons in °C, areas shares of the scalp.
const (
	maxSections    = 8
	maxHands       = 2
	maxBatches     = 6
	maxIronPasses  = 3
	minLengthCM    = 8
	maxLengthCM    = 120
	minAreaShare   = 0.01
	minPlateCM     = 2.5
	maxPlateCM     = 5
	minIronCelsius = 60
	maxIronCelsius = 260
	// Hairs per cm²: the means and spreads of Loussouarn et al. 2005 lie within.
	minHairsPerCM2 = 80
	maxHairsPerCM2 = 350
	// Shrinkage from which hair hangs at a twentieth of its length: whoever says
	// so has measured something else (judgement).
	maxShrinkage = 0.95
	// Straight hair hangs as long as it is; from here on trade pages call it wavy.
	wavyShrinkage = 0.1
)

// Head is what has to be known of the hair to work out its chair time, and
// how the salon means to go about it. The zero values of Regrowth, Batches,
// Curl, Passes, AreaShare, Areas, ConsultationHeld, IronCelsius and TwoStage are
// their defaults; of Length and FreeLength one must be given, of Density and
// HairsPerCM2 as well, and so must every other field but Given.
type Head struct {
	// Length is the stretched length from crown to ends in cm, 8 to 120.
	Length float64
	// FreeLength is the length in cm as the hair hangs, measured instead of
	// Length; Shrinkage, 0 to below 0.95, is how much shorter that is than the
	// stretched length, as a share of it; nil means the salon's for the curl.
	FreeLength float64
	Shrinkage  *float64
	// HairsPerCM2 is how many hairs were counted on a cm² of scalp, 80 to 350; 0
	// when not counted. It decides how many hairs there are, while partings
	// follow the class.
	HairsPerCM2 float64
	// Density, Strand and Porosity are as found on the hair.
	Density  Density
	Strand   Strand
	Porosity Porosity
	// Damaged is true for bleached, brittle or otherwise weakened hair.
	Damaged bool
	// NewClient is true when the salon has not yet treated this hair.
	NewClient bool
	// Regrowth is the new hair in cm, stretched, when only that is treated; 0
	// when all of the hair is.
	Regrowth float64
	// Sections is the number of areas that the hair is divided into, 2 to 8.
	Sections int
	// PlateWidth is the width of the iron's plates along the strand in cm, 2.5
	// to 5; plate_depth_cm in JSON.
	PlateWidth float64
	// Hands is the number of pairs of hands, 1 or 2.
	Hands int
	// Batches is how often solution is applied and rinsed, each time on an
	// equal part of the hair: 1 to 6, 0 meaning 1.
	Batches int
	// Curl is the natural curl.
	Curl Curl
	// Passes is how often the iron goes over every plate position: 1 to 3, 0
	// meaning 1.
	Passes int
	// AreaShare is the treated share of the scalp area, 0.01 to 1; 0 means 1,
	// the whole head. Areas names the treated parts instead.
	AreaShare float64
	Areas     []Area
	// ConsultationHeld is true when the long talk took place on an earlier day.
	ConsultationHeld bool
	// IronCelsius is the planned setting of the iron, 0 when not given.
	IronCelsius float64
	// TwoStage is true when the service puts solution on in two stages: roots
	// and mid-lengths first, the ends later.
	TwoStage bool
	// Given says which figures were given in inches or °F; faults name them so.
	Given Given
}

// Given is true for figures of a head that were given in inches or °F. Twice
// are the faults of figures that were given in both and do not agree.
type Given struct {
	Length, Regrowth, PlateWidth, Iron bool
	Twice                              scheduling.Faults
}

// Validate returns Faults with every field that is outside its range, named
// as in JSON.
func (h Head) Validate() error {
	f := slices.Clip(h.Given.Twice)
	h.validateLength(&f)
	h.validateDensity(&f)
	oneOf(&f, "strand", h.Strand, StrandFine, StrandMedium, StrandCoarse)
	oneOf(&f, "porosity", h.Porosity, PorosityLow, PorosityNormal, PorosityHigh)
	h.validateRegrowth(&f)
	f.Count("sections", h.Sections, 2, maxSections)
	length("plate_depth", h.Given.PlateWidth).between(&f, h.PlateWidth, minPlateCM, maxPlateCM)
	f.Count("hands", h.Hands, 1, maxHands)
	if h.Batches != 0 {
		f.Count("batches", h.Batches, 1, maxBatches)
	}
	if h.Curl != "" {
		oneOf(&f, "curl", h.Curl, CurlStraight, CurlWavy, CurlCurly, CurlCoily)
	}
	if h.Passes != 0 {
		f.Count("passes", h.Passes, 1, maxIronPasses)
	}
	h.validateAreas(&f)
	if h.IronCelsius != 0 {
		heat("iron", h.Given.Iron).between(&f, h.IronCelsius, minIronCelsius, maxIronCelsius)
	}
	return f.Err()
}

func (h Head) validateRegrowth(f *scheduling.Faults) {
	name := length("regrowth", h.Given.Regrowth)
	if within(h.Length, minLengthCM, maxLengthCM) {
		if !within(h.Regrowth, 0, h.Length) {
			f.Addf(name.name, fmt.Sprintf("0 %s to the length of %s %s", name.unit, name.number(h.Length), name.unit), "is %s", name.number(h.Regrowth))
		}
		return
	}
	name.between(f, h.Regrowth, 0, maxLengthCM)
}

func (h Head) validateAreas(f *scheduling.Faults) {
	if h.AreaShare != 0 {
		f.Between("area_share", h.AreaShare, minAreaShare, 1, "")
	}
	if len(h.Areas) == 0 {
		return
	}
	if h.AreaShare != 0 {
		f.Add("areas", "are given together with area_share", "one of the two")
	}
	seen := map[Area]bool{}
	for i, a := range h.Areas {
		field := fmt.Sprintf("areas[%d]", i)
		oneOf(f, field, a, AreaNape, AreaSides, AreaCrownBack, AreaFrontTop, AreaHairline, AreaFringe)
		if seen[a] {
			f.Addf(field, "each area once", "names %q a second time", string(a))
		}
		seen[a] = true
	}
	if len(h.Areas) > 1 && (seen[AreaHairline] || seen[AreaFringe]) {
		f.Add("areas", "put the hairline or the fringe beside other areas", "hairline or fringe alone, since they lie inside the others")
	}
}

// batches is Batches with its default.
func (h Head) batches() int { return max(h.Batches, 1) }

// passes is Passes with its default.
func (h Head) passes() int { return max(h.Passes, 1) }

// tender is true for hair whose exposure limits are the short ones.
func (h Head) tender() bool { return h.Damaged || h.Porosity == PorosityHigh }

func within(v, lo, hi float64) bool { return v >= lo && v <= hi } // false for NaN

func oneOf[T ~string](f *scheduling.Faults, field string, v T, allowed ...T) {
	if slices.Contains(allowed, v) {
		return
	}
	names := make([]string, len(allowed))
	for i, a := range allowed {
		names[i] = string(a)
	}
	last := len(names) - 1
	want := strings.Join(names[:last], ", ") + " or " + names[last]
	if v == "" {
		f.Add(field, "is missing", want)
		return
	}
	f.Addf(field, want, "is %q", string(v))
}
