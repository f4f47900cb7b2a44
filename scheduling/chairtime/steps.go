package chairtime

import "chairblock/scheduling"

const secondsPerMinute = 60

// StepTime is one step of a visit worked out for one head.
type StepTime struct {
	Kind scheduling.StepKind
	// Batch is 1 to the number of batches for everything from application to the
	// rinse when there is more than one batch, otherwise 0.
	Batch int
	// Mean and SD are in minutes; a fixed step has no spread but that of its
	// further looks.
	Mean, SD float64
	// Fixed is true when the product sets the length, not anybody's hands.
	Fixed bool
	// Pace is what the sheet's mean was multiplied by, 1 without records of
	// anybody's pace; 0 for a fixed step.
	Pace float64
	// Booked is the whole number of minutes kept in the book.
	Booked int
	// Further are the further looks that Mean and SD have in them; nil when the
	// salon expects none. Booked has none: the check stands at the end of the
	// planned wait, and the room for further looks is in the visit as a whole.
	Further *FurtherLooks
	// Working is the count behind Mean, in words.
	Working string
}

// planned is the mean of a step without further looks.
func (s *StepTime) planned() float64 {
	if s.Further == nil {
		return s.Mean
	}
	return s.Mean - s.Further.Mean
}

// course is the steps of a visit under way, of which n are known.
type course struct {
	c     *Settings
	w     *work
	steps []StepTime
	n     int
	batch int
}

// hands adds a step that lasts as long as somebody's hands need; mean is by
// the sheet, and every one of them passes here.
func (v *course) hands(k scheduling.StepKind, mean float64) {
	s := StepTime{Kind: k, Batch: v.batch}
	s.Mean, s.SD, s.Pace = v.c.paced(k, v.w.head.Hands, mean)
	v.steps[v.n] = s
	v.n++
}

// fixed adds a step whose length the product or the salon sets.
func (v *course) fixed(k scheduling.StepKind, mean float64) {
	v.steps[v.n] = StepTime{Kind: k, Batch: v.batch, Mean: mean, Fixed: true}
	v.n++
}

// steps turns the counts of w into the steps of the visit with their means and
// spreads, in order; Booked and Working are left empty.
func (c *Settings) steps(w *work) []StepTime { return c.stepsIn(nil, w) }

// stepsIn is steps into room, as far as that is large enough.
func (c *Settings) stepsIn(room []StepTime, w *work) []StepTime {
	h := &w.head
	k := h.batches()
	n := oneStageSteps + oneStageBatch*(k-1)
	if h.TwoStage {
		n = twoStageSteps + twoStageBatch*(k-1)
	}
	if cap(room) < n {
		room = make([]StepTime, n)
	}
	out := room[:n]
	v := course{c: c, w: w, steps: out}
	v.hands(scheduling.Talk, c.talk(h))
	v.hands(scheduling.Wash, c.WashBase+c.WashPerCM*h.Length)
	v.hands(scheduling.Prep, c.prep(w))
	v.solution(k)
	v.hands(scheduling.Dry1, c.dry(w, w.dryFraction, w.curl))
	v.hands(scheduling.Iron, c.iron(w))
	v.hands(scheduling.Neutral, c.neutral(w))
	v.fixed(scheduling.Dwell, c.NeutralizerWorks())
	v.hands(scheduling.Rinse2, c.rinse(w, c.Rinse2Base, c.Rinse2PerCM))
	v.hands(scheduling.Dry2, c.dry(w, 1, 1))
	v.hands(scheduling.Finish, c.finish(w))
	v.hands(scheduling.Close, c.CloseMin)
	c.allowLooks(w, out)
	return out
}

// solution adds everything from the first strand to the rinse, once for each
// of k batches, all but the last of which end with a short rinse.
func (v *course) solution(k int) {
	c, w := v.c, v.w
	var apply, ends float64
	if w.head.TwoStage {
		apply, ends = c.applyStages(w)
	} else {
		apply = c.applyBatch(w)
	}
	for b := 1; b <= k; b++ {
		if k > 1 {
			v.batch = b
		}
		if w.head.TwoStage {
			v.hands(scheduling.Apply1, apply)
			v.fixed(scheduling.Process1, c.ProcessMin.of(w.head.Porosity))
			v.fixed(scheduling.Check1, c.CheckMin)
			v.hands(scheduling.Apply2, ends)
			v.fixed(scheduling.Process2, c.ProcessSecondMin.of(w.head.Porosity))
			v.fixed(scheduling.Check2, c.CheckMin)
		} else {
			v.hands(scheduling.Apply, apply)
			v.fixed(scheduling.Process, c.Processing(w.head.Porosity))
		}
		if b < k {
			v.hands(scheduling.RinseShort, c.RinseShortBase)
		} else {
			v.hands(scheduling.Rinse1, c.rinse(w, c.Rinse1Base, c.Rinse1PerCM))
		}
	}
	v.batch = 0
}

func (c *Settings) talk(h *Head) float64 {
	t := c.TalkReturning
	if h.NewClient {
		t = c.TalkNew
	}
	if h.ConsultationHeld {
		t = min(t, c.TalkHeld)
	}
	return t
}

func (c *Settings) prep(w *work) float64 {
	t := c.PrepBase + c.PrepPerSection*float64(w.head.Sections) + c.PrepPerCM*w.head.Length
	return t*w.curl*w.careOther + c.shield(w)
}

// shield is the time for protector on damaged hair and for shielding the old
// lengths at a retouch.
func (c *Settings) shield(w *work) float64 {
	var t float64
	if w.head.Damaged {
		t += c.ProtectorDamaged
	}
	if !w.untreated {
		t += c.ProtectOldLengths
	}
	return t
}

func (c *Settings) rinse(w *work, base, perCM float64) float64 {
	return (base+perCM*w.head.Length)*w.careOther + c.rinseExtra(w)
}

func (c *Settings) rinseExtra(w *work) float64 {
	return c.RinseExtra * max(w.hairGrams-c.RinseExtraFrom, 0) / c.RinseExtraGrams
}

func (c *Settings) dry(w *work, fraction, curl float64) float64 {
	t := curl * (c.DrySetUp + fraction*w.water*w.hairGrams/c.DryRate)
	return c.DrySetUp + (t-c.DrySetUp)/w.hands
}

func (c *Settings) iron(w *work) float64 {
	return w.care * w.curl * float64(w.panels) * c.ironPanel(w) / secondsPerMinute / w.hands
}

// ironPanel is the time for one panel in seconds.
func (c *Settings) ironPanel(w *work) float64 {
	t := c.PanelHandling + float64(w.pressesPerPanel)*w.press*float64(w.head.passes())
	if !w.untreated {
		t += c.RetouchLightPass
	}
	return t
}

func (c *Settings) neutral(w *work) float64 {
	perStrip := c.NeutralHandling + c.NeutralSpread*w.strandWork*w.treatedLength
	return float64(w.strips) * perStrip / secondsPerMinute / w.hands
}

func (c *Settings) finish(w *work) float64 {
	perPanel := c.FinishHandling + c.FinishPerCM*w.head.Length
	return w.careOther * float64(w.finishPanels) * perPanel / secondsPerMinute / w.hands
}
