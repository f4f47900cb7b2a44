package api

import (
	"context"
	"maps"
	"slices"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/card"
	"chairblock/scheduling/delays"
	"chairblock/store"
)

// productRun is a stretch of steps of a visit with product on the hair. run is
// empty as long as none of them has begun.
type productRun struct {
	first, last int // steps
	begun       bool
	inferred    bool // a beginning or an end that nobody noted
	applied     bool // somebody noted when all of it was on
	run         card.Run
}

// on reports whether product of the run is on the hair at t.
func (r productRun) on(t time.Time) bool {
	return r.begun && !t.Before(r.run.First) && (r.run.Off == nil || t.Before(*r.run.Off))
}

// minutes is how long product was on, up to now when it is.
func (r productRun) minutes(now time.Time) float64 {
	end := now
	if r.run.Off != nil && r.run.Off.Before(now) {
		end = *r.run.Off
	}
	return end.Sub(r.run.First).Minutes()
}

// worked is how long the neutralizer worked on the last strand that it was put
// on, and false as long as nobody noted both ends of that: what is inferred from
// the plan says nothing of how long it worked.
func (r productRun) worked() (float64, bool) {
	if !r.run.Neutralizer || r.run.Off == nil || r.run.Applied == nil || !r.applied || r.inferred {
		return 0, false
	}
	return max(0, r.run.Off.Sub(*r.run.Applied).Minutes()), true
}

// runsOf lists when product was on in a visit: by what was noted of its steps,
// and by the looks and the “rinse now” on its card.
func runsOf(v store.Visit, c *composed, facts []keptFact) []productRun {
	var out []productRun
	care := delays.CareOf(c.plan)
	f := factsOf(v)
	for i := 0; i < len(v.Steps) && i < len(care); i++ {
		if !care[i].Product {
			continue
		}
		r := productRun{first: i, last: i, run: card.Run{Neutralizer: neutralizes(v.Steps[i].Kind)}}
		for r.last+1 < len(v.Steps) && care[r.last+1].Product && neutralizes(v.Steps[r.last+1].Kind) == r.run.Neutralizer {
			r.last++
		}
		r.times(v, f)
		r.facts(facts)
		out = append(out, r)
		i = r.last
	}
	return out
}

func neutralizes(kind string) bool {
	return kind == string(scheduling.Neutral) || kind == string(scheduling.Dwell)
}

// times reads the real times of the steps.
func (r *productRun) times(v store.Visit, f *facts) {
	for i := r.first; i <= r.last && !r.begun; i++ {
		if at := v.Steps[i].RealStart; at != nil {
			r.begun, r.run.First, r.inferred = true, *at, f.starts[i] == nil
		}
	}
	if !r.begun {
		return
	}
	for i := r.first; i <= r.last; i++ { // hands are off once all of it is on
		if st := v.Steps[i]; !st.HandsOn && st.RealStart != nil && r.run.Applied == nil {
			r.run.Applied, r.applied = st.RealStart, f.starts[i] != nil
		}
	}
	switch end := v.Steps[r.last].RealEnd; {
	case r.last+1 < len(v.Steps) && v.Steps[r.last+1].RealStart != nil:
		r.run.Off = v.Steps[r.last+1].RealStart
		r.inferred = r.inferred || f.starts[r.last+1] == nil
	case end != nil:
		r.run.Off = end
		r.inferred = r.inferred || f.ends[r.last] == nil
	case v.FinishedAt != nil:
		r.run.Off, r.inferred = v.FinishedAt, true
	}
}

// facts adds the looks during the run, and ends it when somebody noted that it
// had to be rinsed at once.
func (r *productRun) facts(list []keptFact) {
	if !r.begun {
		return
	}
	for _, k := range list {
		if card.Kind(k.Kind) == card.KindRinseNow && r.on(k.At) {
			at := k.At
			r.run.Off = &at
		}
	}
	for _, k := range list {
		if c := k.value.Check; c != nil && !k.At.Before(r.run.First) && (r.run.Off == nil || !k.At.After(*r.run.Off)) {
			r.run.Looks = append(r.run.Looks, card.Look{At: k.At, Stretch: c.Stretch, Returned: c.Returned, Ready: c.Ready, Next: float64(c.Next)})
		}
	}
	sortLooks(r.run.Looks)
}

// NowBody is what there is to do now in a visit.
type NowBody struct {
	VisitID string    `json:"visit_id"`
	AsOf    time.Time `json:"as_of"`
	State   string    `json:"state" enum:"booked,arrived,under_way,finished,stopped_early,held,lapsed,cancelled,missed"`
	// Step is the one that is going on.
	Step        *NowStepBody `json:"step,omitempty" doc:"The step that is going on; left out when none is"`
	Product     string       `json:"product" enum:"none,solution,neutralizer" doc:"What is on the hair"`
	Watch       string       `json:"watch,omitempty" enum:"working,look_due,look_late,ready,at_maximum,too_weak,worked_long" doc:"What is to be done about it"`
	FirstStrand *time.Time   `json:"first_strand_at,omitempty" doc:"When the first strand was wetted"`
	Minutes     int          `json:"minutes" doc:"Minutes since the first strand; 0 when nothing is on"`
	Inferred    bool         `json:"inferred" doc:"Nobody noted when it was put on: it follows from what was noted of other steps"`
	NextCheck   *time.Time   `json:"next_check_at,omitempty" doc:"Of a neutralizer, when it may be rinsed"`
	NoLater     *time.Time   `json:"no_later_than,omitempty"`
	AtMaximum   bool         `json:"at_maximum" doc:"Instead of another check it is rinsed then, at the maximum"`
	WarnAt      *time.Time   `json:"warn_at,omitempty"`
	OffBy       *time.Time   `json:"off_by,omitempty" doc:"When product has to be off"`
	Words       []string     `json:"words" nullable:"false" doc:"The same for people, the most urgent first"`
	WatchFor    []string     `json:"watch_for" nullable:"false" doc:"What to watch for in this step"`
	Flags       []FlagBody   `json:"flags" nullable:"false"`
	RinseNow    bool         `json:"rinse_now" doc:"The button “Rinse now” is shown"`
	Rinsed      *RinseBody   `json:"rinsed,omitempty" doc:"“Rinse now” was pressed, and what is to be done then"`
	Emergency   string       `json:"emergency" doc:"Emergency number; empty until the salon has given it"`
}

// NowStepBody is the step that is going on.
type NowStepBody struct {
	Ordinal int       `json:"ordinal"`
	Kind    string    `json:"kind"`
	Label   string    `json:"label"`
	Since   time.Time `json:"since"`
	Booked  time.Time `json:"booked_end"`
}

func (s *Server) visitNow(ctx context.Context, in *ByID) (*found[NowBody], error) {
	var out NowBody
	err := s.read(ctx, func(t *store.Tx) error {
		x, err := loadCard(ctx, t, in.ID)
		if err != nil {
			return err
		}
		out = x.now(s.now())
		return nil
	})
	return &found[NowBody]{Body: out}, err
}

// now says what there is to do in the visit at a time.
func (x *cardOf) now(at time.Time) NowBody {
	b := NowBody{VisitID: x.v.ID, AsOf: at.In(x.n.loc), State: string(x.v.State), Product: "none", Words: []string{}, WatchFor: []string{},
		Flags: []FlagBody{}, Emergency: x.n.row.Emergency}
	for i, st := range x.v.Steps {
		if st.RealStart != nil && st.RealEnd == nil && x.v.State.Open() {
			b.Step = &NowStepBody{i, st.Kind, st.Label, st.RealStart.In(x.n.loc), st.End.In(x.n.loc)}
			b.WatchFor = append(b.WatchFor, x.watch[i]...)
		}
	}
	if k := x.rinse(); k != nil && x.v.State.Open() {
		b.Rinsed = x.rinseBody(*k)
		b.Words = append(b.Words, b.Rinsed.Words...)
	}
	r := x.running(at)
	if r == nil || !x.v.State.Open() {
		return b
	}
	w := x.limits.Watch(r.run, at)
	b.Product, b.Watch, b.Minutes, b.Inferred, b.AtMaximum, b.RinseNow = "solution", string(w.State), w.Minutes, r.inferred, w.AtMax, true
	if r.run.Neutralizer {
		b.Product = "neutralizer"
	}
	b.FirstStrand, b.NextCheck, b.NoLater = localTime(&r.run.First, x.n.loc), localTime(w.Next, x.n.loc), localTime(w.Latest, x.n.loc)
	b.WarnAt, b.OffBy = localTime(w.WarnFrom, x.n.loc), localTime(w.OffBy, x.n.loc)
	b.Words = append(b.Words, w.Words(r.run.Neutralizer, func(t time.Time) string { return clockAt(x.n, t) })...)
	for _, f := range w.Flags {
		b.Flags = append(b.Flags, FlagBody{Level: string(f.Level), Code: f.Code, Words: f.Text, Reasons: []FlagReasonBody{}})
	}
	return b
}

// running is the run that is on the hair at t, or nil.
func (x *cardOf) running(t time.Time) *productRun {
	for i := range x.runs {
		if x.runs[i].on(t) {
			return &x.runs[i]
		}
	}
	return nil
}

// nextLooks finds, by visit and step, until when a look that found the hair not
// ready lets a step last at least.
func nextLooks(ctx context.Context, t *store.Tx, n salonDay, visits []store.Visit, at time.Time) (map[string]map[int]time.Time, error) {
	byID := map[string]store.Visit{}
	for _, v := range visits {
		if v.State == store.UnderWay && slices.ContainsFunc(v.Steps, func(st store.VisitStep) bool { return st.Watched && st.RealStart != nil && st.RealEnd == nil }) {
			byID[v.ID] = v
		}
	}
	if len(byID) == 0 {
		return nil, nil
	}
	cards, err := t.Cards(ctx, slices.Sorted(maps.Keys(byID)))
	if err != nil {
		return nil, err
	}
	out := map[string]map[int]time.Time{}
	for _, row := range cards {
		if len(row.Facts) == 0 {
			continue
		}
		x, err := readCard(ctx, t, n, byID[row.Visit], row)
		if err != nil {
			return nil, err
		}
		for i := range x.v.Steps {
			if until := x.nextLook(i, at); until != nil {
				out[row.Visit] = map[int]time.Time{i: *until}
			}
		}
	}
	return out, nil
}

// nextLook is until when a look that found the hair not ready lets step i last at
// least, nil when none does.
func (x *cardOf) nextLook(i int, at time.Time) *time.Time {
	st := x.v.Steps[i]
	if st.HandsOn || st.RealStart == nil || st.RealEnd != nil {
		return nil
	}
	r := x.running(at)
	if r == nil || r.run.Neutralizer || i < r.first || i > r.last || len(r.run.Looks) == 0 {
		return nil
	}
	last := r.run.Looks[len(r.run.Looks)-1]
	if last.At.Before(*st.RealStart) || last.Ready {
		return nil
	}
	if w := x.limits.Watch(r.run, at); w.State != card.StateTooWeak {
		return w.Next
	}
	return nil
}
