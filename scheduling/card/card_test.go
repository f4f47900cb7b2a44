package card

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

// sound and weak are hair of the two kinds that limits tell apart.
func sound() *chairtime.Head { return &chairtime.Head{Porosity: chairtime.PorosityNormal} }
func weak() *chairtime.Head {
	return &chairtime.Head{Porosity: chairtime.PorosityNormal, Damaged: true}
}

func limits(h *chairtime.Head) Limits { return LimitsFor(chairtime.Default(), h) }

// said writes flags as level and code.
func said(list []Flag) []string {
	out := []string{}
	for _, f := range list {
		out = append(out, string(f.Level)+" "+f.Code)
	}
	return out
}

func TestEachLimitHoldsAtItsFigureAndNotBeyond(t *testing.T) {
	t.Parallel()
	yes, no := true, false
	s, w := limits(sound()), limits(weak())
	for _, tt := range []struct {
		name string
		got  []Flag
		want []string
	}{
		// Salon trade page: not over 180 °C. J Cosmet Sci 62(2) 2011 p. 119: small
		// pores up to 180 °C, larger voids at 180 to 210 °C.
		{"180 °C on sound hair", s.Iron(180), nil},
		{"180.1 °C on sound hair", s.Iron(180.1), []string{"over iron_too_hot"}},
		{"356 °F, which is 180 °C", s.Iron(chairtime.CelsiusOfFahrenheit(356)), nil},
		{"357 °F", s.Iron(chairtime.CelsiusOfFahrenheit(357)), []string{"over iron_too_hot"}},
		// Common practice: 210 to 320 °F on damaged hair.
		{"160 °C on damaged hair", w.Iron(160), nil},
		{"320 °F on damaged hair, which is 160 °C", w.Iron(chairtime.CelsiusOfFahrenheit(320)), nil},
		{"160.1 °C on damaged hair", w.Iron(160.1), []string{"warn iron_damaged"}},
		{"160.1 °C on sound hair", s.Iron(160.1), nil},
		{"181 °C on damaged hair", w.Iron(181), []string{"over iron_too_hot"}},
		// Common practice.
		{"a press of 5 s", s.Press(5, 1), nil},
		{"a press of 5.1 s", s.Press(5.1, 1), []string{"warn long_press"}},
		{"30 s of contact over all passes", s.Press(3, 10), nil},
		{"30.6 s over six passes", s.Press(5.1, 6), []string{"over iron_contact", "warn long_press"}},
		{"33 s over eleven passes", s.Press(3, 11), []string{"over iron_contact"}},
		// Common practice; wet ironing does more harm (Ruetsch & Kamath 2004).
		{"80 % dry", s.Dryness(0.8), nil},
		{"79.9 % dry", s.Dryness(0.799), []string{"over ironed_wet"}},
		{"90 % dry, damaged", w.Dryness(0.9), nil},
		{"89.9 % dry, damaged", w.Dryness(0.899), []string{"over ironed_wet"}},
		// Trade pages: wet hair stretches by about half and returns.
		{"stretched to 1.5 times and back", s.Elasticity(1.5, &yes), []string{}},
		{"stretched to 1.51 times", s.Elasticity(1.51, nil), []string{"stop too_weak"}},
		{"did not return", s.Elasticity(1.2, &no), []string{"stop no_return"}},
		{"too far and not back", s.Elasticity(2, &no), []string{"stop too_weak", "stop no_return"}},
		// Judgement.
		{"39.9 minutes of product", s.Exposure(39.9), nil},
		{"40 minutes", s.Exposure(40), []string{"warn exposure_long"}},
		{"59.9 minutes", s.Exposure(59.9), []string{"warn exposure_long"}},
		{"60 minutes", s.Exposure(60), []string{"over exposure"}},
		{"19.9 minutes on damaged hair", w.Exposure(19.9), nil},
		{"20 minutes on damaged hair", w.Exposure(20), []string{"warn exposure_long"}},
		{"30 minutes on damaged hair", w.Exposure(30), []string{"over exposure"}},
		// Common practice where the maker's figure is not known.
		{"5 minutes of neutralizer", s.Neutralizer(5), nil},
		{"4.9 minutes of neutralizer", s.Neutralizer(4.9), []string{"over neutralizer_short"}},
	} {
		require.Equal(t, append([]string{}, tt.want...), said(tt.got), tt.name)
		for _, f := range tt.got {
			require.Equal(t, f.Level != LevelWarn, f.AsksReason())
			require.NotContains(t, f.Text, "%!", tt.name)
			require.NotEmpty(t, f.Level.Words())
		}
	}
}

func TestPorousHairHasTheTenderLimitsWithoutBeingDamaged(t *testing.T) {
	t.Parallel()
	l := limits(&chairtime.Head{Porosity: chairtime.PorosityHigh})
	require.Equal(t, []float64{20, 30, 5, 0.8, 0}, []float64{l.WarnAfter, l.OffAfter, l.FirstLook, l.DryLeast, l.IronWarn})
	require.Equal(t, Limits{IronMax: 180, PressWarn: 5, ContactMax: 30, DryLeast: 0.8, StretchMax: 1.5, NextLook: 5, LookGrace: 3}, limits(nil),
		"of hair that nobody described nothing is said that depends on it")
	require.Empty(t, limits(nil).Exposure(1000))
	require.Empty(t, limits(nil).Neutralizer(0))
}

func TestTheMakersFiguresTakeThePlaceOfTheSalons(t *testing.T) {
	t.Parallel()
	l := limits(sound()).By(Maker{LongestOn: new(25.0), Neutralizer: new(12.0), DryLeast: new(1.0)})
	require.Equal(t, []string{"over exposure"}, said(l.Exposure(25)), "and it warns no later")
	require.Empty(t, l.Exposure(24.9))
	require.Equal(t, []string{"over neutralizer_short"}, said(l.Neutralizer(11.9)))
	require.Equal(t, []string{"over ironed_wet"}, said(l.Dryness(0.99)))
	long := limits(sound()).By(Maker{LongestOn: new(75.0)})
	require.Equal(t, []string{"warn exposure_long"}, said(long.Exposure(74)), "a maker may allow more, and the salon still warns")
	require.Equal(t, limits(sound()), limits(sound()).By(Maker{}))
}

func TestHeatIsWrittenAsTheSalonWritesIt(t *testing.T) {
	t.Parallel()
	l := limits(sound())
	require.Contains(t, l.Iron(200)[0].Text, "200 °C; never above 180 °C")
	l.Fahrenheit = true
	require.Contains(t, l.Iron(200)[0].Text, "392 °F; never above 356 °F")
}

func TestOnlyWhatCannotBeIsAFault(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		fact interface{ Validate() error }
		bad  string // field, "" for none
	}{
		{"a dangerous iron", Iron{300}, ""},
		{"an iron beyond irons", Iron{300.1}, "setting"},
		{"a cold iron", Iron{39.9}, "setting"},
		{"no number", Iron{math.NaN()}, "setting"},
		{"a strand that stretches to twice its length", Check{Stretch: 2}, ""},
		{"no stretch at all", Check{Stretch: 1}, ""},
		{"nothing told of the stretch", Check{}, ""},
		{"shorter than it was", Check{Stretch: 0.99}, "stretch"},
		{"longer than hair stretches", Check{Stretch: 2.51}, "stretch"},
		{"infinite", Check{Stretch: math.Inf(1)}, "stretch"},
		{"next look in an hour", Check{Next: 60}, ""},
		{"next look in 61 minutes", Check{Next: 61}, "next_minutes"},
		{"next look before now", Check{Next: -1}, "next_minutes"},
		{"ready and looked at again", Check{Ready: true, Next: 5}, "next_minutes"},
		{"a long press", Press{60, 1}, ""},
		{"no press", Press{0, 1}, "seconds"},
		{"no pass", Press{2, 0}, "passes"},
		{"wet hair", Dryness{0}, ""},
		{"drier than dry", Dryness{100.1}, "percent"},
		{"much solution", Product{2000}, ""},
		{"a tank of solution", Product{2001}, "ml"},
		{"less than nothing", Product{-1}, "ml"},
		{"a long pause", Pause{240}, ""},
		{"no pause", Pause{0}, "minutes"},
	} {
		err := tt.fact.Validate()
		if tt.bad == "" {
			require.NoError(t, err, tt.name)
			continue
		}
		var f scheduling.Faults
		require.ErrorAs(t, err, &f, tt.name)
		require.Equal(t, tt.bad, f[0].Field, tt.name)
	}
}

// clock writes minutes after ten o'clock.
func clock(t time.Time) string { return t.Format("15:04") }

func ten(m float64) time.Time {
	return time.Date(2026, 6, 8, 10, 0, 0, 0, time.UTC).Add(time.Duration(m * float64(time.Minute)))
}

func TestTheCheckClockSaysWhenToLookAndWhenToRinse(t *testing.T) {
	t.Parallel()
	no := false
	look := func(m float64, ready bool, next float64) Look {
		return Look{At: ten(m), Stretch: 1.2, Ready: ready, Next: next}
	}
	for _, tt := range []struct {
		name  string
		hair  *chairtime.Head
		run   Run
		now   float64
		state State
		words string // the first line
	}{
		{"first look to come", sound(), Run{}, 9.9, StateWorking, "Check at 10:10, no later than 10:13."},
		{"first look due", sound(), Run{}, 10, StateLookDue, "Check now, no later than 10:13."},
		{"the last minute of it", sound(), Run{}, 13, StateLookDue, "Check now, no later than 10:13."},
		{"and too late", sound(), Run{}, 13.1, StateLookLate, "The check was due at 10:10, no later than 10:13: check now."},
		{"first look of damaged hair", weak(), Run{}, 4, StateWorking, "Check at 10:05, no later than 10:08."},
		{"not ready: the salon's next look", sound(), Run{Looks: []Look{look(25, false, 0)}}, 26, StateWorking, "Check at 10:30, no later than 10:33."},
		{"not ready: a look of one's own", sound(), Run{Looks: []Look{look(25, false, 3)}}, 26, StateWorking, "Check at 10:28, no later than 10:31."},
		{"the latest look is no later than the maximum", sound(), Run{Looks: []Look{look(53, false, 0)}}, 54, StateWorking, "Check at 10:58, no later than 11:00."},
		{"the next look would pass the maximum", sound(), Run{Looks: []Look{look(56, false, 0)}}, 57, StateWorking, "Rinse at 11:00, at the maximum, ready or not."},
		{"the next look at the maximum itself", sound(), Run{Looks: []Look{look(55, false, 0)}}, 57, StateWorking, "Rinse at 11:00, at the maximum, ready or not."},
		{"the maximum", sound(), Run{Looks: []Look{look(56, false, 0)}}, 60, StateAtMaximum, "Rinse now: product has been on for as long as it may."},
		{"the maximum and nobody looked", sound(), Run{}, 61, StateAtMaximum, "Rinse now: product has been on for as long as it may."},
		{"the maximum of damaged hair", weak(), Run{}, 30, StateAtMaximum, "Rinse now: product has been on for as long as it may."},
		{"ready", sound(), Run{Looks: []Look{look(20, false, 0), look(25, true, 0)}}, 26, StateReady, "Ready: rinse now, no later than 10:28."},
		{"ready shortly before the maximum", sound(), Run{Looks: []Look{look(58, true, 0)}}, 59, StateReady, "Ready: rinse now, no later than 11:00."},
		{"too weak", sound(), Run{Looks: []Look{{At: ten(15), Stretch: 1.6}}}, 16, StateTooWeak, "Too weak: stop, rinse now, and ask the licensed person."},
		{"no return", sound(), Run{Looks: []Look{{At: ten(15), Stretch: 1.3, Returned: &no, Ready: true}}}, 16, StateTooWeak, "Too weak: stop, rinse now, and ask the licensed person."},
		{"rinsed", sound(), Run{Off: new(ten(30))}, 40, StateOff, "Product is off."},
		{"rinsed in a minute, it is written", sound(), Run{Off: new(ten(30))}, 29, StateLookLate, "The check was due at 10:10, no later than 10:13: check now."},
		{"neutralizer going on", sound(), Run{Neutralizer: true}, 9, StateWorking, "Neutralizer on for 9 min."},
		{"neutralizer working", sound(), Run{Neutralizer: true, Applied: new(ten(18))}, 20, StateWorking, "Neutralizer working: rinse at 10:23, not before."},
		{"neutralizer has worked", sound(), Run{Neutralizer: true, Applied: new(ten(18))}, 23, StateWorkedLong, "Neutralizer has worked since 10:23: it may be rinsed."},
		{"neutralizer out", sound(), Run{Neutralizer: true, Off: new(ten(23))}, 24, StateOff, "Neutralizer is rinsed out."},
	} {
		tt.run.First = ten(0)
		w := limits(tt.hair).Watch(tt.run, ten(tt.now))
		require.Equal(t, tt.state, w.State, tt.name)
		require.Equal(t, tt.words, w.Words(tt.run.Neutralizer, clock)[0], tt.name)
	}
	w := limits(sound()).Watch(Run{First: ten(0)}, ten(41.5))
	require.Equal(t, []any{41, ten(40), ten(60)}, []any{w.Minutes, *w.WarnFrom, *w.OffBy})
	require.Equal(t, []string{"warn exposure_long"}, said(w.Flags))
	require.Equal(t, []string{"Product on first section 41 min.", "Off by 11:00 at the latest."}, w.Words(false, clock)[1:])
	unknown := limits(nil).Watch(Run{First: ten(0)}, ten(500))
	require.Equal(t, StateWorking, unknown.State, "nothing is known of the hair")
	require.Equal(t, []string{"Product on first section 500 min."}, unknown.Words(false, clock))
}

func TestNoLookIsAskedForPastTheMaximum(t *testing.T) {
	t.Parallel()
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 0))
	for range 5000 {
		h := sound()
		if r.IntN(2) == 0 {
			h = weak()
		}
		l := limits(h)
		if r.IntN(3) == 0 {
			l = l.By(Maker{LongestOn: new(float64(5 + r.IntN(60)))})
		}
		run, at := Run{First: ten(0)}, 0.0
		for range r.IntN(6) {
			at += float64(1 + r.IntN(12))
			run.Looks = append(run.Looks, Look{At: ten(at), Stretch: 1 + 0.7*r.Float64(), Ready: r.IntN(4) == 0, Next: float64(r.IntN(10))})
		}
		now := ten(at + float64(r.IntN(90)))
		w := l.Watch(run, now)
		if w.Next.After(*w.OffBy) || w.Latest.After(*w.OffBy) || w.Latest.Before(*w.Next) {
			t.Fatalf("seed %d: look at %v, no later than %v, off by %v", seed, w.Next, w.Latest, w.OffBy)
		}
		if now.Before(*w.OffBy) == (w.State == StateAtMaximum) && w.State != StateTooWeak {
			t.Fatalf("seed %d: at %v of %v it says %s", seed, now, w.OffBy, w.State)
		}
		if len(w.Words(false, clock)) < 2 {
			t.Fatalf("seed %d: %v", seed, w)
		}
	}
}
