package chairtime

import (
	"fmt"
	"math"
	"math/rand/v2"

	"chairblock/scheduling"
)

// Steps of a visit: mostSteps is room for those of any, with solution in two
// stages and as many batches as there can be.
const (
	oneStageSteps, oneStageBatch = 14, 3 // and so many more for each batch after the first
	twoStageSteps, twoStageBatch = 18, 7
	mostSteps                    = twoStageSteps + twoStageBatch*(maxBatches-1)
)

// splitStages divides the treated length of w between the two stages: the last
// EndsCM are left for the second one, but never more than half of the treated
// length, so that short hair still has a first stage. The work of applying is
// shared by these lengths.
func (c *Settings) splitStages(w *work) {
	if w.head.TwoStage {
		w.ends = min(c.EndsCM, w.treatedLength/2)
	}
}

// stagesOf returns Faults when h is a retouch, whose ends are not treated, by a
// service in two stages.
func (c *Settings) stagesOf(h Head) error {
	h = c.settled(h)
	if !h.TwoStage || h.Regrowth == 0 || h.Regrowth > c.UntreatedShare*h.Length {
		return nil
	}
	var f scheduling.Faults
	f.Addf("regrowth_cm", fmt.Sprintf("0, or a service that puts solution on in one stage; regrowth above %s cm counts as untreated hair", brief(c.UntreatedShare*h.Length)),
		"is %s for solution in two stages, of which the second is for the ends", scheduling.Number(h.Regrowth))
	return f
}

// applying is the time in minutes to wet all strips of one batch, without looks.
func (c *Settings) applying(w *work) float64 {
	perStrip := w.stripHandling + c.BrushOn*w.strandWork*w.treatedLength
	return w.care * float64(w.strips) * perStrip / secondsPerMinute / w.hands / w.batches
}

// looksWhile is how often the first strand is looked at during t minutes of
// applying: after first minutes, then every LookEvery minutes of the clock, each
// of which stops the work for LookMinutes.
func (c *Settings) looksWhile(t, first float64) int {
	if c.LookMinutes == 0 {
		return 0
	}
	return max(ceil((t-first)/(c.LookEvery-c.LookMinutes)), 0)
}

// applyBatch is the time until the last strand of one batch is wetted, with the
// looks that fall into it.
func (c *Settings) applyBatch(w *work) float64 {
	t := c.applying(w)
	w.looks = c.looksWhile(t, c.firstLook(&w.head))
	return t + float64(w.looks)*c.LookMinutes
}

// applyStages is the same for the roots and mid-lengths and for the ends of one
// batch. The check between the two stages is a look itself.
func (c *Settings) applyStages(w *work) (lengths, ends float64) {
	t := c.applying(w)
	ends = t * w.ends / w.treatedLength
	lengths = t - ends
	w.looks = c.looksWhile(lengths, c.firstLook(&w.head))
	w.looksEnds = c.looksWhile(ends, c.LookEvery)
	return lengths + float64(w.looks)*c.LookMinutes, ends + float64(w.looksEnds)*c.LookMinutes
}

func (c *Settings) firstLook(h *Head) float64 {
	if h.tender() {
		return c.LookFirstTender
	}
	return c.LookFirst
}

// FurtherLooks is what may come on top of a planned wait: at its end the hair is
// looked at, and whenever it is not ready there is one more look some minutes
// later, or as soon as product must come off, whichever is first.
type FurtherLooks struct {
	Share   float64 // chance at each look that the hair is not ready
	Minutes float64 // until the next look
	Room    float64 // minutes that all of them together may add
	// Mean and SD are of the minutes that they add.
	Mean, SD float64
}

// newFurtherLooks works out mean and spread; it is nil when nothing can be added.
func newFurtherLooks(share, minutes, room float64) *FurtherLooks {
	if share <= 0 || room <= ceilSlack {
		return nil
	}
	f := &FurtherLooks{Share: share, Minutes: minutes, Room: room}
	most := ceil(room / minutes)
	var square float64
	for n, p := 1, share; n <= most; n, p = n+1, p*share {
		end := p // of those not ready n times, these are ready then
		if n < most {
			end *= 1 - share
		}
		added := min(float64(n)*minutes, room)
		f.Mean += end * added
		square += end * added * added
	}
	f.SD = math.Sqrt(max(square-f.Mean*f.Mean, 0))
	return f
}

// draw returns the minutes that further looks add in one visit.
func (f *FurtherLooks) draw(r *rand.Rand) float64 {
	added := 0.0
	for added < f.Room-ceilSlack && r.Float64() < f.Share {
		added = min(added+f.Minutes, f.Room)
	}
	return added
}

// allowLooks adds further looks to every wait in steps, as long as product may
// stay on: from the minutes until the rinse on means, the longest wait and the
// walk to the basin, up to the limit at which a plan is refused. In two stages
// each wait has half of that room, so that the first cannot use up the second's.
func (c *Settings) allowLooks(w *work, steps []StepTime) {
	if c.NotReadyShare == 0 {
		return
	}
	_, refuse := c.exposureLimits(w.head)
	waits := 1.0
	if w.head.TwoStage {
		waits = 2
	}
	for i := range steps {
		if !steps[i].Kind.FirstStrand() {
			continue
		}
		_, toBasin, _ := exposed(steps[i:])
		f := newFurtherLooks(c.NotReadyShare, c.NextLook, (refuse-toBasin-c.ExposureWait-c.BasinWalk)/waits)
		if f == nil {
			return
		}
		for k := i; k < len(steps) && !rinses(steps[k].Kind); k++ {
			if s := &steps[k]; s.Kind.WorksAlone() {
				s.Further = f
				s.Mean += f.Mean
				s.SD = f.SD
			}
		}
	}
}

// exposed adds up how long product stays on the first strand that is wetted in
// steps[0]: on means until the end of the last wait and until the rinse, and on
// the booked minutes until the rinse.
func exposed(steps []StepTime) (mean, toBasin float64, booked int) {
	for i := range steps {
		s := &steps[i]
		if rinses(s.Kind) {
			break
		}
		toBasin += s.Mean
		booked += s.Booked
		if s.Kind.WorksAlone() {
			mean = toBasin
		}
	}
	return mean, toBasin, booked
}

func rinses(k scheduling.StepKind) bool {
	return k == scheduling.RinseShort || k == scheduling.Rinse1
}
