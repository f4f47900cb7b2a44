package api

import (
	"math"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

// HeadBody is hair as it crosses the border. What is measured comes in SI units
// or, instead, in inches and °F; it is kept in SI units, and answers name both
// where the salon measures in the other ones.
type HeadBody struct {
	LengthCM         float64  `json:"length_cm,omitempty" minimum:"8" maximum:"120" doc:"Stretched length from crown to ends; instead of it length_in, or the free length" example:"35"`
	LengthIn         *float64 `json:"length_in,omitempty" minimum:"3.14" maximum:"47.3" doc:"The same in inches"`
	FreeLengthCM     float64  `json:"free_length_cm,omitempty" minimum:"0.1" maximum:"120" doc:"Length as the hair hangs, instead of the stretched length; with shrinkage, or with curl for the salon's usual shrinkage"`
	FreeLengthIn     *float64 `json:"free_length_in,omitempty" minimum:"0.1" maximum:"47.3" doc:"The same in inches"`
	Shrinkage        *float64 `json:"shrinkage,omitempty" minimum:"0" maximum:"0.95" doc:"How much shorter than stretched the hair hangs, as a share: 0 to below 0.95; stretched length = free length ÷ (1 − shrinkage)"`
	LengthWorking    string   `json:"length_working,omitempty" readOnly:"true" doc:"How the stretched length was worked out from the free one"`
	Density          string   `json:"density,omitempty" enum:"low,medium,high" doc:"How much hair grows on the scalp; may be left out beside hairs_per_cm2"`
	HairsPerCM2      float64  `json:"hairs_per_cm2,omitempty" minimum:"80" maximum:"350" doc:"Hairs counted on a cm² of scalp: below 160 low, to 220 medium, above high density"`
	Strand           string   `json:"strand" enum:"fine,medium,coarse" doc:"How thick a single hair is"`
	Porosity         string   `json:"porosity" enum:"low,normal,high" doc:"How readily hair takes up liquid; low is resistant"`
	Damaged          bool     `json:"damaged" doc:"Bleached, brittle or otherwise weakened; not sure counts as yes"`
	NewClient        bool     `json:"new_client" doc:"The salon has not treated this hair yet"`
	RegrowthCM       float64  `json:"regrowth_cm" required:"false" minimum:"0" maximum:"120" doc:"New hair, stretched, when only that is treated; 0 when all is"`
	RegrowthIn       *float64 `json:"regrowth_in,omitempty" minimum:"0" maximum:"47.3" doc:"The same in inches"`
	Sections         int      `json:"sections" minimum:"2" maximum:"8" doc:"Areas that the hair is divided into" example:"4"`
	PlateDepthCM     float64  `json:"plate_depth_cm,omitempty" minimum:"2.5" maximum:"5" doc:"Width of the iron's plates along the strand; instead of it plate_depth_in" example:"3"`
	PlateDepthIn     *float64 `json:"plate_depth_in,omitempty" minimum:"0.98" maximum:"1.97" doc:"The same in inches"`
	Hands            int      `json:"hands" minimum:"1" maximum:"2" doc:"Pairs of hands" example:"1"`
	Batches          int      `json:"batches,omitempty" minimum:"0" maximum:"6" doc:"How often solution is applied and rinsed, each time on a part of the hair; 0 and left out mean once"`
	Plan             string   `json:"plan,omitempty" enum:"as_given,normal" doc:"normal: hands and batches are only what is asked for; where product would stay on for too long, the fewest batches below the limit are taken, and a helper where these are not enough. The answer says which. Left out: as_given"`
	Curl             string   `json:"curl,omitempty" enum:"straight,wavy,curly,coily" doc:"Left out: straight"`
	Passes           int      `json:"passes,omitempty" minimum:"0" maximum:"3" doc:"How often the iron goes over every place; 0 and left out mean once"`
	AreaShare        float64  `json:"area_share,omitempty" minimum:"0" maximum:"1" doc:"Treated share of the scalp, at least 0.01; 0 and left out mean all of it"`
	Areas            []string `json:"areas,omitempty" nullable:"false" enum:"nape,sides,crown_back,front_top,hairline,fringe" doc:"Treated parts by name, instead of area_share"`
	ConsultationHeld bool     `json:"consultation_held,omitempty" doc:"The long talk took place on an earlier day"`
	IronCelsius      float64  `json:"iron_celsius,omitempty" minimum:"0" maximum:"260" doc:"Planned setting of the iron; left out: not checked"`
	IronFahrenheit   *float64 `json:"iron_fahrenheit,omitempty" minimum:"140" maximum:"500" doc:"The same in °F"`

	clash scheduling.Faults // figures that were given in two units and differ
}

// Head returns the hair for the core, which says what is wrong with it. InSI
// has to be called first where a figure may be in inches or °F.
func (b HeadBody) Head() chairtime.Head {
	h := chairtime.Head{
		Length:           b.LengthCM,
		FreeLength:       b.FreeLengthCM,
		Shrinkage:        b.Shrinkage,
		HairsPerCM2:      b.HairsPerCM2,
		Density:          chairtime.Density(b.Density),
		Strand:           chairtime.Strand(b.Strand),
		Porosity:         chairtime.Porosity(b.Porosity),
		Damaged:          b.Damaged,
		NewClient:        b.NewClient,
		Regrowth:         b.RegrowthCM,
		Sections:         b.Sections,
		PlateWidth:       b.PlateDepthCM,
		Hands:            b.Hands,
		Batches:          b.Batches,
		Curl:             chairtime.Curl(b.Curl),
		Passes:           b.Passes,
		AreaShare:        b.AreaShare,
		ConsultationHeld: b.ConsultationHeld,
		IronCelsius:      b.IronCelsius,
		Given: chairtime.Given{Length: b.LengthIn != nil || b.FreeLengthIn != nil, Regrowth: b.RegrowthIn != nil,
			PlateWidth: b.PlateDepthIn != nil, Iron: b.IronFahrenheit != nil, Twice: b.clash},
	}
	for _, a := range b.Areas {
		h.Areas = append(h.Areas, chairtime.Area(a))
	}
	return h
}

// EstimateBody is hair worked out into minutes. Totals keep six decimals,
// everything else two.
type EstimateBody struct {
	Steps                      []StepTimeBody `json:"steps" nullable:"false"`
	Total                      TotalBody      `json:"total"`
	BlockMinutes               int            `json:"block_minutes" doc:"Minutes to book: the promised share of visits ends within them"`
	PromisedShare              float64        `json:"promised_share" doc:"That share" example:"0.8"`
	PromisedMinutes            float64        `json:"promised_minutes" doc:"The total that belongs to it, not rounded up"`
	FirstStrandExposureMinutes float64        `json:"first_strand_exposure_minutes" doc:"Product on the first section, on means"`
	BookedExposureMinutes      float64        `json:"booked_exposure_minutes" doc:"The same on booked minutes, with the longest wait and the walk to the basin; limits are held against it"`
	UnbreakableMinutes         float64        `json:"unbreakable_minutes" doc:"From application to second rinse, which may not be interrupted"`
	AssistantMinutes           float64        `json:"assistant_minutes" doc:"What an assistant may do by the service and by the booking rule assistant_steps"`
	SolutionML                 float64        `json:"solution_ml"`
	NeutralizerML              float64        `json:"neutralizer_ml"`
	SolutionPacks              int            `json:"solution_packs,omitempty" doc:"Whole packs, where the salon counts them"`
	NeutralizerPacks           int            `json:"neutralizer_packs,omitempty"`
	Strips                     int            `json:"strips" doc:"Partings that product is brushed on"`
	Panels                     int            `json:"panels" doc:"Partings that fit the iron"`
	PressesPerPanel            int            `json:"presses_per_panel"`
	Presses                    int            `json:"presses" doc:"All closings of the iron"`
	Hairs                      int            `json:"hairs" doc:"How many hairs grow on the treated part of the scalp, by count or by class"`
	HairGrams                  float64        `json:"hair_grams"`
	TreatedGrams               float64        `json:"treated_grams"`
	Pace                       []PaceLineBody `json:"pace,omitempty" doc:"Where records have moved a step by more than 2 % from the sheet"`
	Cautions                   []CautionBody  `json:"cautions" nullable:"false"`
	Plans                      []PlanBody     `json:"plans" nullable:"false" doc:"Other batches and hands; empty unless product would stay on too long"`
	NormalPlan                 *PlanBody      `json:"normal_plan,omitempty" doc:"What was chosen where the normal plan was asked for; the figures are those of this plan"`
	Why                        []WhyBody      `json:"why,omitempty" doc:"How the figures that belong to no one step are counted; left out of estimates that were made with a booking"`
	Safety                     string         `json:"safety" doc:"What comes before every figure"`
	Phone                      *PhoneBody     `json:"phone,omitempty" doc:"What was told on the telephone, where the hair only stands in for it"`
}

// WhyBody is the count behind one figure of an estimate.
type WhyBody struct {
	Figure  string `json:"figure,omitempty" doc:"Name of the figure; left out: others are made of it" example:"panels"`
	Label   string `json:"label" doc:"What it is" example:"panels for the iron"`
	Working string `json:"working" doc:"A sum, and what it comes to" example:"520 cm² ÷ 4 sections ÷ (1 cm × 6 cm), rounded up, × 4 = 88"`
}

// StepTimeBody is one step of an estimate.
type StepTimeBody struct {
	Kind          string  `json:"kind" example:"iron"`
	Batch         int     `json:"batch,omitempty" doc:"Counted from 1 where there is more than one batch"`
	MeanMinutes   float64 `json:"mean_minutes"`
	PaceFactor    float64 `json:"pace_factor,omitempty" doc:"What the sheet's mean was multiplied by, because records say so; left out: nothing"`
	BookedMinutes int     `json:"booked_minutes"`
	Working       string  `json:"working" doc:"The count behind the mean, for people"`
	// WatchFor is never kept with an estimate.
	WatchFor []string `json:"watch_for,omitempty" doc:"Short lines for whoever does it, with the salon's figures filled in"`
}

// TotalBody is a whole visit in minutes.
type TotalBody struct {
	MeanMinutes float64 `json:"mean_minutes"`
	P50Minutes  float64 `json:"p50_minutes" doc:"5 of 10 visits end within"`
	P80Minutes  float64 `json:"p80_minutes" doc:"8 of 10 visits end within"`
	P90Minutes  float64 `json:"p90_minutes" doc:"9 of 10 visits end within"`
}

// CautionBody is one thing to know. A refused estimate is not booked.
type CautionBody struct {
	Level string `json:"level" enum:"warn,needs_yes,refuse" doc:"needs_yes: the licensed person has to agree"`
	Code  string `json:"code"`
	Text  string `json:"text"`
}

// PlanBody is the same hair by other batches and hands.
type PlanBody struct {
	Batches               int     `json:"batches"`
	Hands                 int     `json:"hands"`
	MeanMinutes           float64 `json:"mean_minutes"`
	BlockMinutes          int     `json:"block_minutes"`
	ExposureMinutes       float64 `json:"exposure_minutes"`
	BookedExposureMinutes float64 `json:"booked_exposure_minutes"`
	Level                 string  `json:"level,omitempty" enum:"warn,refuse" doc:"What the exposure calls for; left out when it is below the limit"`
	Proposal              string  `json:"proposal,omitempty" enum:"alone,helper,helper_batches" doc:"Given on the plans to offer"`
}

// NewEstimateBody writes e for the border.
func NewEstimateBody(e chairtime.Estimate) EstimateBody {
	b := EstimateBody{
		Total: TotalBody{
			MeanMinutes: decimals(e.Mean, 6), P50Minutes: decimals(e.P50, 6),
			P80Minutes: decimals(e.P80, 6), P90Minutes: decimals(e.P90, 6),
		},
		BlockMinutes:               e.Block,
		PromisedShare:              e.Quantile,
		PromisedMinutes:            decimals(e.Promise, 2),
		FirstStrandExposureMinutes: decimals(e.FirstStrandExposure, 2),
		BookedExposureMinutes:      decimals(e.BookedExposure, 2),
		UnbreakableMinutes:         decimals(e.Unbreakable, 2),
		AssistantMinutes:           decimals(e.AssistantMinutes, 2),
		SolutionML:                 decimals(e.SolutionML, 2), NeutralizerML: decimals(e.NeutralizerML, 2),
		SolutionPacks: e.SolutionPacks, NeutralizerPacks: e.NeutralizerPacks,
		Strips: e.Strips, Panels: e.Panels, PressesPerPanel: e.PressesPerPanel, Presses: e.Presses,
		Hairs: int(math.Round(e.Hairs)), HairGrams: decimals(e.HairGrams, 2), TreatedGrams: decimals(e.TreatedGrams, 2),
		Steps:    make([]StepTimeBody, len(e.Steps)),
		Cautions: make([]CautionBody, len(e.Cautions)),
		Plans:    newPlanBodies(e.Alternatives),
		Safety:   chairtime.SafetyLine,
	}
	for i, s := range e.Steps {
		b.Steps[i] = StepTimeBody{Kind: string(s.Kind), Batch: s.Batch, MeanMinutes: decimals(s.Mean, 2), BookedMinutes: s.Booked, Working: s.Working}
		if s.Pace != 1 { // 0 for what the product sets
			b.Steps[i].PaceFactor = decimals(s.Pace, 6)
		}
	}
	for i, c := range e.Cautions {
		b.Cautions[i] = CautionBody{string(c.Level), c.Code, c.Text}
	}
	return b
}

// Explained is b with how its figures are counted.
func (b EstimateBody) Explained(why []chairtime.Reason) EstimateBody {
	b.Why = whyBodies(why)
	return b
}

// Explained is b with how its figures are counted.
func (b PhoneAnswerBody) Explained(why []chairtime.Reason) PhoneAnswerBody {
	b.Why = whyBodies(why)
	return b
}

func whyBodies(why []chairtime.Reason) []WhyBody {
	out := make([]WhyBody, len(why))
	for i, r := range why {
		out[i] = WhyBody(r)
	}
	return out
}

// Normal is b with p as the normal plan that it is worked out by.
func (b EstimateBody) Normal(p chairtime.PlanOption) EstimateBody {
	b.NormalPlan = new(newPlanBody(p))
	return b
}

func newPlanBodies(plans []chairtime.PlanOption) []PlanBody {
	out := make([]PlanBody, len(plans))
	for i, p := range plans {
		out[i] = newPlanBody(p)
	}
	return out
}

func newPlanBody(p chairtime.PlanOption) PlanBody {
	return PlanBody{
		Batches: p.Batches, Hands: p.Hands,
		MeanMinutes: decimals(p.Mean, 6), BlockMinutes: p.Block,
		ExposureMinutes: decimals(p.Exposure, 2), BookedExposureMinutes: decimals(p.BookedExposure, 2),
		Level: string(p.Level), Proposal: string(p.Proposal),
	}
}

// PhoneBody is the answers to the three questions asked on the telephone.
type PhoneBody struct {
	Reach    string   `json:"reach" enum:"ear,chin,shoulder,mid_back,waist,longer" doc:"Pulled straight or wet, where does the hair reach?"`
	Ponytail string   `json:"ponytail,omitempty" enum:"little,average,a_lot,unknown" doc:"A ponytail like a pencil, a finger or two fingers"`
	History  []string `json:"history,omitempty" nullable:"false" enum:"nothing,straightened_here,straightened,coloured,bleached_or_highlighted,relaxer_or_perm,henna_or_other,not_sure" doc:"All that was done in the last three years; left out: not sure"`
}

// Questions returns the answers for the core, which says what is wrong with
// them.
func (b PhoneBody) Questions() chairtime.PhoneQuestions {
	q := chairtime.PhoneQuestions{Reach: chairtime.Reach(b.Reach), Ponytail: chairtime.Ponytail(b.Ponytail)}
	for _, h := range b.History {
		q.History = append(q.History, chairtime.History(h))
	}
	return q
}

// PhoneAnswerBody is what to say on the telephone.
type PhoneAnswerBody struct {
	P20Minutes          float64        `json:"p20_minutes" doc:"2 of 10 such visits end within"`
	P80Minutes          float64        `json:"p80_minutes" doc:"8 of 10 such visits end within"`
	KeepMinutes         int            `json:"keep_minutes" doc:"Minutes to keep free"`
	OnlyConsultation    bool           `json:"only_consultation" doc:"Nothing else can be booked yet; pencil the long visit in behind it"`
	ConsultationMinutes int            `json:"consultation_minutes" doc:"0 when none is needed first"`
	StrandTest          bool           `json:"strand_test" doc:"A strand test belongs to the consultation"`
	Pace                []PaceLineBody `json:"pace,omitempty" doc:"Where records have moved a step by more than 2 % from the sheet"`
	Words               string         `json:"words"`
	Why                 []WhyBody      `json:"why,omitempty" doc:"What is mixed over, and how the minutes come of it"`
	Safety              string         `json:"safety"`

	Price   *PhonePriceBody `json:"price,omitempty" doc:"What such a visit costs; left out where the salon has no such service"`
	StandIn *HeadBody       `json:"stand_in,omitempty" doc:"Hair that takes the minutes that are kept, to wait or to pencil with until somebody has seen hers"`
}

// NewPhoneAnswerBody writes a for the border.
func NewPhoneAnswerBody(a chairtime.PhoneAnswer) PhoneAnswerBody {
	return PhoneAnswerBody{
		P20Minutes: decimals(a.P20, 2), P80Minutes: decimals(a.P80, 2), KeepMinutes: a.Keep,
		OnlyConsultation: a.OnlyConsultation, ConsultationMinutes: a.ConsultationMinutes, StrandTest: a.StrandTest,
		Words: a.Words, Safety: chairtime.SafetyLine,
	}
}

// decimals rounds v to n decimals.
func decimals(v float64, n int) float64 {
	scale := math.Pow10(n)
	return math.Round(v*scale) / scale
}
