package chairtime

import (
	"math"
	"slices"

	"chairblock/scheduling"
)

// Reason is the count behind one figure of an estimate that belongs to no one
// step, for people.
type Reason struct {
	// Figure is the name of the figure in JSON; Label says what it is.
	Figure, Label string
	// Working is a sum whose result is the figure, as it is printed.
	Working string
}

// reasons are under way.
type reasons struct {
	c    *Settings
	w    *work
	e    *Estimate
	list []Reason
}

// Why counts out the figures of e, which has to be an estimate by c. May are the
// steps that an assistant does.
//
// The steps carry their own workings. These here are apart from them because few
// ask, and an estimate is worked out often.
func (c Settings) Why(e Estimate, may []scheduling.StepKind) []Reason {
	w := c.measure(e.Head)
	r := &reasons{&c, &w, &e, make([]Reason, 0, 24)}
	r.hair()
	r.product()
	r.pieces()
	r.minutes()
	r.promise()
	r.exposure()
	r.sum("unbreakable_minutes", "may not be interrupted", unbroken(e.Steps))
	r.sum("assistant_minutes", "what an assistant may do", slices.DeleteFunc(slices.Clone(e.Steps),
		func(s StepTime) bool { return !slices.Contains(may, s.Kind) }))
	return r.list
}

// add notes one figure; parts are its working.
func (r *reasons) add(figure, label string, say func(*text)) {
	var t text
	say(&t)
	r.list = append(r.list, Reason{figure, label, string(t)})
}

func (r *reasons) hair() {
	c, w, h := r.c, r.w, &r.w.head
	perCM := r.microgramsPerCM()
	profile := max(c.ProfileFloor, c.ProfileBase-c.ProfilePerCM*h.Length)
	r.add("hairs", "hairs on the treated part of the scalp", func(t *text) {
		t.of(c.ScalpArea, " cm²")
		if s := c.share(*h); s != 1 {
			t.say(" × ")
			t.of(100*s, " % treated")
		}
		t.say(" × ")
		t.of(c.hairsPerCM2(h), " hairs per cm² = ")
		t.count(int(math.Round(w.hairs)))
	})
	r.add("", "a hair", func(t *text) {
		t.say("3.1416 × (")
		t.of(c.Diameter.of(h.Strand), " µm ÷ 2)² × ")
		t.of(c.Matter, " g/cm³ = ")
		t.of(perCM, " µg/cm")
	})
	r.add("", "mean length of all hairs, as a share of the length", func(t *text) {
		t.num(c.ProfileBase)
		t.say(" − ")
		t.share(c.ProfilePerCM / c.Units.InLength(1))
		t.say(" × ")
		t.length(c.Units, h.Length)
		t.say(", at least ")
		t.of(c.ProfileFloor, " = ")
		t.share(profile)
	})
	r.grams("hair_grams", "weight of this hair", h.Length, profile)
	treated := profile
	if !w.untreated {
		treated = 1
	}
	r.grams("treated_grams", "weight of what is treated", w.treatedLength, treated)
}

// microgramsPerCM is the mass of a centimetre of one hair.
func (r *reasons) microgramsPerCM() float64 {
	d := r.c.Diameter.of(r.w.head.Strand) // µm; µm² × g/cm³ is 10⁻⁸ g/cm, a hundredth of a µg/cm
	return math.Pi * d * d / 4 * r.c.Matter / 100
}

func (r *reasons) grams(figure, label string, cm, share float64) {
	u := r.c.Units
	r.add(figure, label, func(t *text) {
		t.count(int(math.Round(r.w.hairs)))
		t.say(" hairs × ")
		t.rate(u, roundTo(r.microgramsPerCM(), 2))
		t.say(" µg/", u.LengthUnit(), " × ")
		t.length(u, cm)
		if share != 1 {
			t.say(" × ")
			t.share(share)
		}
		t.say(" = ")
		t.tenths(r.w.hairs * r.microgramsPerCM() * cm * share / 1e6)
		t.say(" g")
	})
}

// share appends a share with four decimals at most.
func (t *text) share(v float64) { t.say(scheduling.Number(roundTo(v, 4))) }

func (r *reasons) product() {
	c, e := r.c, r.e
	for _, p := range []struct {
		figure, name       string
		perGram, least, ml float64
		packs              int
	}{
		{"solution", "solution", c.SolutionPerGram, c.SolutionFloor, e.SolutionML, e.SolutionPacks},
		{"neutralizer", "neutralizer", c.NeutralizerPerGram, c.NeutralizerFloor, e.NeutralizerML, e.NeutralizerPacks},
	} {
		r.add(p.figure+"_ml", p.name, func(t *text) {
			if p.perGram*e.TreatedGrams >= p.least {
				t.of(e.TreatedGrams, " g × ")
				t.of(p.perGram, " ml/g")
			} else {
				t.of(p.least, " ml, the least that is mixed")
			}
			if c.BowlWaste > 0 {
				t.say(" × ")
				t.of(1+c.BowlWaste, " for what stays in the bowl")
			}
			t.say(" = ")
			t.tenths(p.ml)
			t.say(" ml")
		})
		if c.PackML == 0 {
			continue
		}
		r.add(p.figure+"_packs", "packs of "+p.name, func(t *text) {
			d := decimals(p.packs, func(written func(float64) float64) float64 { return written(p.ml) / written(c.PackML) })
			t.ofTo(d, p.ml, " ml ÷ ")
			t.ofTo(d, c.PackML, " ml, rounded up = ")
			t.count(p.packs)
		})
	}
}

func (r *reasons) pieces() {
	c, w, h := r.c, r.w, &r.w.head
	r.split("strips", "strips for solution", c.ApplyParting.of(h.Density), c.StripWidth, w.strips)
	r.split("panels", "panels for the iron", c.IronParting.of(h.Density), c.PanelWidth, w.panels)
	r.add("presses_per_panel", "presses for each panel", func(t *text) {
		length, plate, share := c.Units.InLength(w.ironLength), c.Units.InLength(h.PlateWidth), 100*(1-c.PlateOverlap)
		d := decimals(w.pressesPerPanel, func(written func(float64) float64) float64 {
			return written(length) / (written(plate) * written(share) / 100)
		})
		t.ofTo(d, length, " ")
		t.say(c.Units.LengthUnit(), " ÷ (")
		t.ofTo(d, plate, " ")
		t.say(c.Units.LengthUnit(), " × ")
		t.ofTo(d, share, " % without overlap), rounded up = ")
		t.count(w.pressesPerPanel)
	})
	r.add("presses", "presses in all", func(t *text) {
		t.count(w.panels)
		t.say(" panels × ")
		t.count(w.pressesPerPanel)
		t.say(" ", "presses")
		if n := h.passes(); n > 1 {
			t.say(" × ")
			t.count(n)
			t.say(" passes")
		}
		t.say(" = ")
		t.count(r.e.Presses)
	})
}

// split says how many pieces of parting × width cover the sections.
func (r *reasons) split(figure, label string, parting, width float64, n int) {
	sections := float64(r.w.head.Sections)
	d := decimals(n/r.w.head.Sections, func(written func(float64) float64) float64 {
		return max(written(r.w.area)/sections/(written(parting)*written(width)), 1)
	})
	r.add(figure, label, func(t *text) {
		t.ofTo(d, r.w.area, " cm² ÷ ")
		t.count(r.w.head.Sections)
		t.say(" sections ÷ (")
		t.ofTo(d, parting, " cm × ")
		t.ofTo(d, width, " cm), rounded up, × ")
		t.count(r.w.head.Sections)
		t.say(" = ")
		t.count(n)
	})
}

// minutes says how the means of the steps add up, and what few visits exceed.
func (r *reasons) minutes() {
	all := totalOf(r.e.Steps, r.e.correlation)
	r.add("mean_minutes", "expected", func(out *text) {
		r.waits(out, all.fixed)
		out.of(all.work.mean(), " min of "+r.work())
		out.say(" = ")
		out.tenths(r.e.Mean)
		out.say(" min")
	})
	for _, p := range []struct {
		figure, label string
		share, value  float64
	}{
		{"p50_minutes", "5 of 10 visits end within", 0.5, r.e.P50},
		{"p80_minutes", "8 of 10 visits end within", 0.8, r.e.P80},
		{"p90_minutes", "9 of 10 visits end within", 0.9, r.e.P90},
	} {
		r.add(p.figure, p.label, func(t *text) { r.quantile(t, all, p.share, p.value) })
	}
}

// waits appends what hands do not change.
func (r *reasons) waits(t *text, minutes float64) {
	if minutes == 0 {
		return
	}
	if r.w.head.TwoStage {
		t.of(minutes, " min of waits and checks + ")
	} else {
		t.of(minutes, " min of waits + ")
	}
}

// work says what all the rest is.
func (r *reasons) work() string {
	if slices.ContainsFunc(r.e.Steps, func(s StepTime) bool { return s.Further != nil }) {
		return "work and further looks"
	}
	return "work"
}

func (r *reasons) quantile(t *text, all total, share, value float64) {
	r.waits(t, all.fixed)
	t.of(all.work.quantile(share), " min of "+r.work()+", which ")
	t.of(100*share, " of 100 visits do not exceed = ")
	t.tenths(value)
	t.say(" min")
}

// promise says where the booked minutes come from.
func (r *reasons) promise() {
	c, e := r.c, r.e
	all := totalOf(e.Steps, e.correlation)
	r.add("promised_minutes", "promised to this share of visits", func(t *text) {
		r.quantile(t, all, e.Quantile, e.Promise)
		t.say("; the mean of the ", r.work(), " is ")
		t.of(all.work.mean(), " min, the standard deviation ")
		t.of(all.work.sd(), " min with a correlation between steps of ")
		t.num(e.correlation)
	})
	var parts []logNormal
	room := e.Block
	for i := range e.Steps {
		if s := &e.Steps[i]; s.Fixed {
			room -= s.Booked
		} else {
			parts = append(parts, logNormalOf(s.Mean, s.SD))
		}
	}
	r.add("block_minutes", "to book", func(t *text) {
		d := decimals(e.Block/int(c.BlockStep), func(written func(float64) float64) float64 { return written(e.Promise) / c.BlockStep })
		t.ofTo(d, e.Promise, " min, rounded up to a multiple of ")
		t.of(c.BlockStep, " min = ")
		t.count(e.Block)
		t.say(" min")
	})
	r.add("booked_minutes", "booked, step by step", func(t *text) {
		r.waits(t, float64(e.Block-room))
		t.of(float64(room), " min of work, of which each step gets what ")
		t.of(math.Round(100*logNormal{0, 1}.below(math.Exp(commonZ(parts, float64(room))))), " of 100 visits do not exceed in it, in whole minutes = ")
		t.count(e.Block)
		t.say(" min")
	})
}

func (r *reasons) exposure() {
	r.sum("first_strand_exposure_minutes", "product on the first section, expected", longestOn(r.e.Steps))
	r.list = append(r.list, Reason{"booked_exposure_minutes", "product on the first section, as booked", r.e.ExposureWorking})
}

// longestOn returns the steps from the first strand of a batch to the end of its
// last wait, of the batch in which that is longest.
func longestOn(steps []StepTime) (longest []StepTime) {
	var most float64
	for i := range steps {
		if !steps[i].Kind.FirstStrand() {
			continue
		}
		batch := steps[i:]
		if k := slices.IndexFunc(batch, func(s StepTime) bool { return rinses(s.Kind) }); k > 0 {
			batch = batch[:k]
		}
		for len(batch) > 0 && !batch[len(batch)-1].Kind.WorksAlone() {
			batch = batch[:len(batch)-1]
		}
		if mean, _, _ := exposed(batch); mean > most {
			most, longest = mean, batch
		}
	}
	return longest
}

// sum says that steps add up to a figure.
func (r *reasons) sum(figure, label string, steps []StepTime) {
	r.add(figure, label, func(t *text) {
		var sum float64
		for i := range steps {
			if i > 0 {
				t.say(" + ")
			}
			t.of(steps[i].Mean, " ")
			t.say(steps[i].Kind.Words())
			sum += steps[i].Mean
		}
		if len(steps) == 0 {
			t.say("nothing")
		}
		t.say(" = ")
		t.tenths(sum)
		t.say(" min")
	})
}
