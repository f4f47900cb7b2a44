package scheduling

const secondsPerMinute = 60

// StepTime is one step of a visit worked out for one head.
type StepTime struct {
	Kind StepKind
	// Batch is 1 to the number of batches for application, processing and the
	// rinse after it when there is more than one batch, otherwise 0.
	Batch int
	// Mean and SD are in minutes; SD is 0 for a fixed step.
	Mean, SD float64
	// Fixed is true when the product sets the length, not anybody's hands.
	Fixed bool
	// Booked is the whole number of minutes kept in the book.
	Booked int
	// Working is the count behind Mean, in words.
	Working string
}

// steps turns the counts of w into the steps of the visit with their means and
// spreads, in order; Booked and Working are left empty.
func (c *ChairTime) steps(w *work) []StepTime {
	out := make([]StepTime, 0, 14+3*(maxBatches-1))
	add := func(k StepKind, batch int, mean float64) {
		out = append(out, StepTime{Kind: k, Batch: batch, Mean: mean, SD: mean * c.Spread.of(k)})
	}
	fixed := func(k StepKind, batch int, mean float64) {
		out = append(out, StepTime{Kind: k, Batch: batch, Mean: mean, Fixed: true})
	}
	h := &w.head
	add(Talk, 0, c.talk(h))
	add(Wash, 0, c.WashBase+c.WashPerCM*h.Length)
	add(Prep, 0, c.prep(w))
	apply, process := c.applyBatch(w), c.ProcessMin.of(h.Porosity)
	k := h.batches()
	for b := 1; b < k; b++ {
		add(Apply, b, apply)
		fixed(Process, b, process)
		add(RinseShort, b, c.RinseShortBase)
	}
	last := 0
	if k > 1 {
		last = k
	}
	add(Apply, last, apply)
	fixed(Process, last, process)
	add(Rinse1, last, c.rinse(w, c.Rinse1Base, c.Rinse1PerCM))
	add(Dry1, 0, c.dry(w, w.dryFraction, w.curl))
	add(Iron, 0, c.iron(w))
	add(Neutral, 0, c.neutral(w))
	fixed(Dwell, 0, c.DwellMin)
	add(Rinse2, 0, c.rinse(w, c.Rinse2Base, c.Rinse2PerCM))
	add(Dry2, 0, c.dry(w, 1, 1))
	add(Finish, 0, c.finish(w))
	add(Close, 0, c.CloseMin)
	return out
}

func (c *ChairTime) talk(h *Head) float64 {
	t := c.TalkReturning
	if h.NewClient {
		t = c.TalkNew
	}
	if h.ConsultationHeld {
		t = min(t, c.TalkHeld)
	}
	return t
}

func (c *ChairTime) prep(w *work) float64 {
	t := c.PrepBase + c.PrepPerSection*float64(w.head.Sections) + c.PrepPerCM*w.head.Length
	return t*w.curl*w.careOther + c.shield(w)
}

// shield is the time for protector on damaged hair and for shielding the old
// lengths at a retouch.
func (c *ChairTime) shield(w *work) float64 {
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
func (c *ChairTime) applyBatch(w *work) float64 {
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

func (c *ChairTime) rinse(w *work, base, perCM float64) float64 {
	return (base+perCM*w.head.Length)*w.careOther + c.rinseExtra(w)
}

func (c *ChairTime) rinseExtra(w *work) float64 {
	return c.RinseExtra * max(w.hairGrams-c.RinseExtraFrom, 0) / c.RinseExtraGrams
}

func (c *ChairTime) dry(w *work, fraction, curl float64) float64 {
	t := curl * (c.DrySetUp + fraction*w.water*w.hairGrams/c.DryRate)
	return c.DrySetUp + (t-c.DrySetUp)/w.hands
}

func (c *ChairTime) iron(w *work) float64 {
	return w.care * w.curl * float64(w.panels) * c.ironPanel(w) / secondsPerMinute / w.hands
}

// ironPanel is the time for one panel in seconds.
func (c *ChairTime) ironPanel(w *work) float64 {
	t := c.PanelHandling + float64(w.pressesPerPanel)*w.press*float64(w.head.passes())
	if !w.untreated {
		t += c.RetouchLightPass
	}
	return t
}

func (c *ChairTime) neutral(w *work) float64 {
	perStrip := c.NeutralHandling + c.NeutralSpread*w.strandWork*w.treatedLength
	return float64(w.strips) * perStrip / secondsPerMinute / w.hands
}

func (c *ChairTime) finish(w *work) float64 {
	perPanel := c.FinishHandling + c.FinishPerCM*w.head.Length
	return w.careOther * float64(w.finishPanels) * perPanel / secondsPerMinute / w.hands
}
