package chairtime

import (
	"fmt"
	"math"
	"strconv"

	"chairblock/scheduling"
)

// working writes down the count behind the mean of s, so that a stylist can
// see which number to doubt.
func (c *Settings) working(w *work, s *StepTime) string {
	return c.count(w, s.Kind) + " = " + strconv.FormatFloat(s.Mean, 'f', 1, 64) + " min"
}

func (c *Settings) count(w *work, k scheduling.StepKind) string {
	h := &w.head
	switch k {
	case scheduling.Talk:
		return countTalk(h)
	case scheduling.Wash:
		return perCM(c.WashBase, c.WashPerCM, h.Length)
	case scheduling.Prep:
		return c.countPrep(w)
	case scheduling.Apply:
		return c.countApply(w)
	case scheduling.Process:
		return map[Porosity]string{PorosityLow: "resistant hair", PorosityNormal: "normal porosity", PorosityHigh: "porous hair"}[h.Porosity]
	case scheduling.RinseShort:
		return "between two batches"
	case scheduling.Rinse1:
		return c.countRinse(w, c.Rinse1Base, c.Rinse1PerCM)
	case scheduling.Rinse2:
		return c.countRinse(w, c.Rinse2Base, c.Rinse2PerCM)
	case scheduling.Dry1:
		return c.countDry(w, w.dryFraction, w.curl)
	case scheduling.Dry2:
		return c.countDry(w, 1, 1)
	case scheduling.Iron:
		return c.countIron(w)
	case scheduling.Neutral:
		return fmt.Sprintf("%d strips × (%s s + %s s%s × %s cm)%s", w.strips, brief(c.NeutralHandling),
			brief(c.NeutralSpread), w.strandText(), brief(w.treatedLength), w.handsText())
	case scheduling.Dwell:
		return "set by the product"
	case scheduling.Finish:
		return fmt.Sprintf("%d panels × (%s s + %s s × %s cm)%s%s", w.finishPanels, brief(c.FinishHandling),
			brief(c.FinishPerCM), brief(h.Length), factor(w.careOther, "damaged"), w.handsText())
	case scheduling.Close:
		return "any visit"
	}
	return string(k)
}

func countTalk(h *Head) string {
	s := "returning client"
	if h.NewClient {
		s = "new client"
	}
	if h.ConsultationHeld {
		s += ", consultation already held"
	}
	return s
}

func (c *Settings) countPrep(w *work) string {
	s := fmt.Sprintf("%s min + %d sections × %s min + %s min/cm × %s cm", brief(c.PrepBase), w.head.Sections,
		brief(c.PrepPerSection), brief(c.PrepPerCM), brief(w.head.Length))
	if f := w.curlText() + factor(w.careOther, "damaged"); f != "" {
		s = "(" + s + ")" + f
	}
	if w.head.Damaged && c.ProtectorDamaged > 0 {
		s += " + " + brief(c.ProtectorDamaged) + " min protector"
	}
	if !w.untreated && c.ProtectOldLengths > 0 {
		s += " + " + brief(c.ProtectOldLengths) + " min shielding old lengths"
	}
	return s
}

func (c *Settings) countApply(w *work) string {
	s := fmt.Sprintf("%d strips × (%s s + %s s%s × %s cm)%s%s", w.strips, brief(w.stripHandling),
		brief(c.BrushOn), w.strandText(), brief(w.treatedLength), factor(w.care, "damaged"), w.handsText())
	if w.batches > 1 {
		s += fmt.Sprintf(" ÷ %s batches", brief(w.batches))
	}
	if w.looks > 0 {
		s += fmt.Sprintf(" + %d %s × %s min", w.looks, plural(w.looks, "check"), brief(c.LookMinutes))
	}
	return s
}

func (c *Settings) countRinse(w *work, base, each float64) string {
	s := perCM(base, each, w.head.Length)
	if w.careOther != 1 {
		s = "(" + s + ")" + factor(w.careOther, "damaged")
	}
	if c.rinseExtra(w) > 0 {
		s += fmt.Sprintf(" + %s min × (%s g − %s g) ÷ %s g", brief(c.RinseExtra), brief(w.hairGrams),
			brief(c.RinseExtraFrom), brief(c.RinseExtraGrams))
	}
	return s
}

func (c *Settings) countDry(w *work, fraction, curl float64) string {
	setUp := brief(c.DrySetUp) + " min"
	water := fmt.Sprintf("%s %% of %s g water per g × %s g hair ÷ %s g/min", brief(100*fraction), brief(w.water),
		brief(w.hairGrams), brief(c.DryRate))
	switch {
	case curl == 1:
		return setUp + " + " + water + w.handsText()
	case w.hands == 1:
		return "(" + setUp + " + " + water + ")" + w.curlText()
	}
	return setUp + " + ((" + setUp + " + " + water + ")" + w.curlText() + " − " + setUp + ")" + w.handsText()
}

func (c *Settings) countIron(w *work) string {
	s := fmt.Sprintf("%d panels × (%s s + %d presses × %s s", w.panels, brief(c.PanelHandling), w.pressesPerPanel, brief(w.press))
	if n := w.head.passes(); n > 1 {
		s += fmt.Sprintf(" × %d passes", n)
	}
	if !w.untreated && c.RetouchLightPass > 0 {
		s += fmt.Sprintf(" + %s s light pass", brief(c.RetouchLightPass))
	}
	return s + ")" + factor(w.care, "damaged") + w.curlText() + w.handsText()
}

func perCM(base, each, length float64) string {
	return fmt.Sprintf("%s min + %s min/cm × %s cm", brief(base), brief(each), brief(length))
}

func factor(f float64, why string) string {
	if f == 1 {
		return ""
	}
	return " × " + brief(f) + " " + why
}

func (w *work) strandText() string {
	return factor(w.strandWork, string(w.head.Strand)+" hair")
}

func (w *work) curlText() string { return factor(w.curl, string(w.head.Curl)) }

func (w *work) handsText() string {
	if w.hands == 1 {
		return ""
	}
	return " ÷ " + brief(w.hands) + " for two pairs of hands"
}

// exposureWorking writes down what keeps product on the first section for so
// many booked minutes; wait and walk only where there are any.
func (c *Settings) exposureWorking(e *Estimate) string {
	for i, s := range e.Steps {
		if s.Kind != scheduling.Apply {
			continue
		}
		applying, processing := s.Booked, e.Steps[i+1].Booked
		if float64(applying+processing)+c.ExposureWait+c.BasinWalk < e.BookedExposure-ceilSlack {
			continue // another batch keeps it on longer
		}
		words := fmt.Sprintf("%d applying + %d processing", applying, processing)
		if c.ExposureWait > 0 {
			words += " + " + brief(c.ExposureWait) + " longest wait"
		}
		if c.BasinWalk > 0 {
			words += " + " + brief(c.BasinWalk) + " walk to the basin"
		}
		return words + " = " + brief(e.BookedExposure) + " min"
	}
	return ""
}

func plural(n int, one string) string {
	if n == 1 {
		return one
	}
	return one + "s"
}

// brief writes v with at most two decimals and no trailing zeros.
func brief(v float64) string {
	return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64)
}
