package chairtime

import "chairblock/scheduling"

const secondsPerMinute = 60

// StepTime is one step of a visit worked out for one head.
type StepTime struct {
	Kind scheduling.StepKind
	// Batch is 1 to the number of batches for application, processing and the
	// rinse after it when there is more than one batch, otherwise 0.
	Batch int
	// Mean and SD are in minutes; SD is 0 for a fixed step.
	Mean, SD float64
	// Fixed is true when the product sets the length, not anybody's hands.
	Fixed bool
	// Pace is what the sheet's mean was multiplied by, 1 without records of
	// anybody's pace; 0 for a fixed step.
	Pace float64
	// Booked is the whole number of minutes kept in the book.
	Booked int
	// Working is the count behind Mean, in words.
	Working string
}

// steps turns the counts of w into the steps of the visit with their means and
// spreads, in order; Booked and Working are left empty.
func (c *Settings) steps(w *work) []StepTime {
	out := make([]StepTime, 0, 14+3*(maxBatches-1))
	add := func(k scheduling.StepKind, batch int, mean float64) {
		s := StepTime{Kind: k, Batch: batch}
		s.Mean, s.SD, s.Pace = c.paced(k, w.head.Hands, mean)
		out = append(out, s)
	}
	fixed := func(k scheduling.StepKind, batch int, mean float64) {
		out = append(out, StepTime{Kind: k, Batch: batch, Mean: mean, Fixed: true})
	}
	h := &w.head
	add(scheduling.Talk, 0, c.talk(h))
	add(scheduling.Wash, 0, c.WashBase+c.WashPerCM*h.Length)
	add(scheduling.Prep, 0, c.prep(w))
	apply, process := c.applyBatch(w), c.ProcessMin.of(h.Porosity)
	k := h.batches()
	for b := 1; b < k; b++ {
		add(scheduling.Apply, b, apply)
		fixed(scheduling.Process, b, process)
		add(scheduling.RinseShort, b, c.RinseShortBase)
	}
	last := 0
	if k > 1 {
		last = k
	}
	add(scheduling.Apply, last, apply)
	fixed(scheduling.Process, last, process)
	add(scheduling.Rinse1, last, c.rinse(w, c.Rinse1Base, c.Rinse1PerCM))
	add(scheduling.Dry1, 0, c.dry(w, w.dryFraction, w.curl))
	add(scheduling.Iron, 0, c.iron(w))
	add(scheduling.Neutral, 0, c.neutral(w))
	fixed(scheduling.Dwell, 0, c.DwellMin)
	add(scheduling.Rinse2, 0, c.rinse(w, c.Rinse2Base, c.Rinse2PerCM))
	add(scheduling.Dry2, 0, c.dry(w, 1, 1))
	add(scheduling.Finish, 0, c.finish(w))
	add(scheduling.Close, 0, c.CloseMin)
	return out
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

// applyBatch is the time until the last strand of one batch is wetted. The
// looks at the first strand that fall into it are counted and added: the first
// of them, then one every LookEvery minutes of the clock, each of which stops
// the work for LookMinutes.
func (c *Settings) applyBatch(w *work) float64 {
	perStrip := w.stripHandling + c.BrushOn*w.strandWork*w.treatedLength
	t := w.care * float64(w.strips) * perStrip / secondsPerMinute / w.hands / w.batches
	if c.LookMinutes > 0 {
		first := c.LookFirst
		if w.head.tender() {
			first = c.LookFirstTender
		}
		w.looks = max(ceil((t-first)/(c.LookEvery-c.LookMinutes)), 0)
	}
	return t + float64(w.looks)*c.LookMinutes
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
