package api

import (
	"context"
	"errors"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// remedyLimit is how long remedies are looked for while somebody waits
// (judgement). What is found by then is given.
const remedyLimit = 2 * time.Second

// remedySeed makes the same day give the same remedies; any number does.
const remedySeed = 1

// DelaysBody is how a day goes on, and what would help.
type DelaysBody struct {
	Date     string          `json:"date" format:"date"`
	TimeZone string          `json:"time_zone"`
	AsOf     time.Time       `json:"as_of" doc:"What had happened until then is known; give it back with a remedy that is to be applied"`
	Visits   []LateVisitBody `json:"visits" nullable:"false" doc:"By booked start"`
	// LeftOut hold the time that they are booked for.
	LeftOut        []LeftOutBody `json:"left_out" nullable:"false" doc:"Visits of which nothing can be said"`
	Broken         []BrokenBody  `json:"broken" nullable:"false" doc:"What will not be kept when nothing is changed, the gravest first, then what was not kept already"`
	LateMinutes    int           `json:"late_minutes" doc:"The sum of the minutes by which visits end late"`
	WaitingMinutes int           `json:"waiting_minutes" doc:"The sum of the minutes that clients wait for their visit to begin"`
	Remedies       []RemedyBody  `json:"remedies" nullable:"false" doc:"What asks least of clients comes first; none leaves product on for longer or asks anybody to be quicker"`
	Unforeseen     string        `json:"unforeseen,omitempty" doc:"In words, that nobody can say how the day goes on; the times of steps are then those that were noted, or booked"`
	Complete       bool          `json:"complete" doc:"False when remedies were not asked for, or time ran out before all were looked for"`
}

// LateVisitBody is how one visit goes on.
type LateVisitBody struct {
	VisitID          string         `json:"visit_id"`
	Name             string         `json:"name" doc:"First name and initial"`
	State            string         `json:"state" enum:"held,booked,arrived,under_way,finished,stopped_early"`
	Version          int64          `json:"version"`
	BookedStart      time.Time      `json:"booked_start"`
	BookedEnd        time.Time      `json:"booked_end"`
	Start            time.Time      `json:"start" doc:"When it began or will begin"`
	End              time.Time      `json:"end" doc:"When it was over or will be"`
	StartLateMinutes int            `json:"start_late_minutes" doc:"Negative when it is earlier"`
	EndLateMinutes   int            `json:"end_late_minutes" doc:"Negative when it is earlier"`
	OpenUntil        *time.Time     `json:"open_until,omitempty" doc:"Until then it can still be put off; left out when it cannot"`
	ProductOn        bool           `json:"product_on" doc:"Product is on the hair now"`
	Steps            []LateStepBody `json:"steps" nullable:"false"`
}

// LateStepBody is how one step goes on.
type LateStepBody struct {
	Kind        string    `json:"kind"`
	Label       string    `json:"label"`
	State       string    `json:"state" enum:"done,runs,to_come,never" doc:"never: it was passed over"`
	BookedStart time.Time `json:"booked_start"`
	BookedEnd   time.Time `json:"booked_end"`
	Start       time.Time `json:"start"`
	End         time.Time `json:"end"`
	LateMinutes int       `json:"late_minutes" doc:"How much later than booked it begins, negative when earlier"`
}

// LeftOutBody is a visit of which nothing can be said.
type LeftOutBody struct {
	VisitID string `json:"visit_id"`
	Name    string `json:"name"`
	Why     string `json:"why"`
}

// BrokenBody is a rule that is not kept.
type BrokenBody struct {
	Kind    string   `json:"kind" enum:"overrun,product_wait,double_use,station,wait,closing,break" doc:"overrun: a step that may not last longer than booked is still going on; product_wait: product stays on too long; double_use: two clients need the same; station: a chair or basin cannot be had; closing: somebody works or stays too late; break: a break is lost"`
	VisitID string   `json:"visit_id,omitempty"`
	Step    string   `json:"step,omitempty" doc:"Kind of the step, of a wait the one before it"`
	UnitID  string   `json:"unit_id,omitempty"`
	Minutes int      `json:"minutes" doc:"By how much"`
	Past    bool     `json:"past" doc:"It has happened and nothing mends it"`
	Words   string   `json:"words"`
	Chain   []string `json:"chain" nullable:"false" doc:"What forces it, in order"`
}

// RemedyBody is something that would help.
type RemedyBody struct {
	ID             string             `json:"id" doc:"Names the remedy for the day as it is now"`
	Kind           string             `json:"kind" enum:"helper,other_station,rearrange,ask_later,rebook,last_resort"`
	Words          string             `json:"words" doc:"What to do"`
	Asks           []AskBody          `json:"asks" nullable:"false" doc:"Who has to agree first"`
	Changes        []RemedyChangeBody `json:"changes" nullable:"false" doc:"What becomes of visits with it"`
	MovedVisitIDs  []string           `json:"moved_visit_ids" nullable:"false" doc:"Visits that begin at another minute, change the stylist in charge or are put off"`
	Mends          []BrokenBody       `json:"mends" nullable:"false" doc:"Rules that are kept with it"`
	Left           []BrokenBody       `json:"left" nullable:"false" doc:"Rules that stay broken"`
	LateMinutes    int                `json:"late_minutes"`
	WaitingMinutes int                `json:"waiting_minutes"`
	OpenUntil      *time.Time         `json:"open_until,omitempty" doc:"The last minute for it"`
	Applies        bool               `json:"applies" doc:"The program can carry it out: it moves visits that have not begun, or gives coming steps another chair, basin or person. If false it is for people to do, and applying it only notes that they agreed"`
}

// AskBody is somebody who has to agree.
type AskBody struct {
	UnitID  string `json:"unit_id,omitempty"`
	VisitID string `json:"visit_id,omitempty" doc:"The client of this visit"`
	Name    string `json:"name"`
}

// RemedyChangeBody is what becomes of one visit.
type RemedyChangeBody struct {
	VisitID string    `json:"visit_id"`
	Name    string    `json:"name"`
	Start   time.Time `json:"start"`
	End     time.Time `json:"end"`
	Rebook  bool      `json:"rebook" doc:"What has not begun of it is taken out of the day"`
}

func (s *Server) delayRoutes() {
	route(s, huma.Operation{OperationID: "get-delays", Method: http.MethodGet, Path: "/days/{date}/delays",
		Summary: "How the day goes on, what will not be kept and what would help"}, s.getDelays)
	route(s, huma.Operation{OperationID: "apply-remedy", Method: http.MethodPost, Path: "/days/{date}/delays/apply",
		Summary: "Carry out a remedy as a whole, or note that it was agreed on", Errors: []int{http.StatusConflict}}, s.applyRemedy)
}

type delaysInput struct {
	Date     string `path:"date" format:"date"`
	Remedies string `query:"remedies" enum:"yes,no" default:"yes" doc:"no leaves out the search for remedies, which takes longest"`
}

func (s *Server) getDelays(ctx context.Context, in *delaysInput) (*found[DelaysBody], error) {
	var f scheduling.Faults
	d := day(&f, "path.date", in.Date)
	if err := f.Err(); err != nil {
		return nil, err
	}
	x, err := s.lateDay(ctx, d, s.now())
	if err != nil {
		return nil, err
	}
	if in.Remedies == "no" {
		p, err := s.foresee(ctx, x)
		if is(err, errUnforeseen) {
			return &found[DelaysBody]{x.etag(), x.unforeseenBody()}, nil
		}
		if err != nil {
			return nil, err
		}
		return &found[DelaysBody]{x.etag(), x.body(p, nil, false)}, nil
	}
	p, remedies, complete, err := s.look(ctx, x, remedyLimit)
	if is(err, errUnforeseen) {
		return &found[DelaysBody]{x.etag(), x.unforeseenBody()}, nil
	}
	if err != nil {
		return nil, err
	}
	return &found[DelaysBody]{x.etag(), x.body(p, remedies, complete)}, nil
}

func (s *Server) lateDay(ctx context.Context, d date.Date, asOf time.Time) (x *lateDay, err error) {
	err = s.read(ctx, func(t *store.Tx) error {
		x, err = loadLate(ctx, t, d, asOf)
		return err
	})
	return x, err
}

// look projects the day and looks for remedies, for so long at most. complete
// is false when that was not long enough.
func (s *Server) look(ctx context.Context, x *lateDay, limit time.Duration) (p delays.DayProjection, list []delays.Remedy, complete bool, err error) {
	if p, err = s.foresee(ctx, x); err != nil {
		return p, nil, false, err
	}
	short, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	err = unforeseen(ctx, x, func() (err error) {
		list, err = x.day.Remedies(short, delays.Options{Seed: remedySeed, PairFactor: x.n.time.PairFactor})
		return err
	})
	if errors.Is(err, context.DeadlineExceeded) && ctx.Err() == nil || is(err, errUnforeseen) {
		return p, list, false, nil
	}
	return p, list, err == nil, err
}

// unforeseenBody is the day as far as it is known, when nobody can say more.
func (x *lateDay) unforeseenBody() DelaysBody {
	b := x.body(x.asNoted(), nil, true)
	b.Unforeseen = unforeseenWords
	return b
}

func (x *lateDay) body(p delays.DayProjection, remedies []delays.Remedy, complete bool) DelaysBody {
	b := DelaysBody{Date: x.date.String(), TimeZone: x.n.row.Zone, AsOf: x.asOf.In(x.n.loc), Visits: []LateVisitBody{},
		LeftOut: []LeftOutBody{}, Broken: x.broken(p.Broken), LateMinutes: int(p.LateMinutes), WaitingMinutes: int(p.WaitingMinutes),
		Remedies: []RemedyBody{}, Complete: complete}
	for i, l := range x.visits {
		b.Visits = append(b.Visits, x.lateVisit(l, p.Visits[i]))
	}
	for _, o := range x.apart {
		b.LeftOut = append(b.LeftOut, LeftOutBody{o.v.ID, o.name, o.why})
	}
	for _, r := range remedies {
		b.Remedies = append(b.Remedies, x.remedy(r))
	}
	return b
}

// lateVisit leaves out the clearing after a visit, when the client is gone.
func (x *lateDay) lateVisit(l *lateVisit, p delays.VisitProjection) LateVisitBody {
	v := l.v
	b := LateVisitBody{VisitID: v.ID, Name: l.name, State: string(v.State), Version: v.Version, ProductOn: p.InSolution,
		BookedStart: v.Start.In(x.n.loc), BookedEnd: v.End.In(x.n.loc), OpenUntil: x.optional(p.OpenUntil), Steps: []LateStepBody{}}
	for i, st := range v.Steps {
		ph := p.Phases[i]
		b.Steps = append(b.Steps, LateStepBody{Kind: st.Kind, Label: st.Label, State: string(ph.State), BookedStart: st.Start.In(x.n.loc),
			BookedEnd: st.End.In(x.n.loc), Start: x.time(ph.Start), End: x.time(ph.End), LateMinutes: int(ph.Late)})
		if ph.State == delays.PhaseNever {
			continue
		}
		if b.Start.IsZero() {
			b.Start = x.time(ph.Start)
		}
		b.End = x.time(ph.End)
	}
	if b.Start.IsZero() { // nobody noted a step of it
		b.Start, b.End = b.BookedStart, b.BookedEnd
	}
	if v.FinishedAt != nil {
		b.End = v.FinishedAt.In(x.n.loc)
	}
	b.StartLateMinutes, b.EndLateMinutes = int(b.Start.Sub(v.Start)/time.Minute), int(b.End.Sub(v.End)/time.Minute)
	return b
}

func (x *lateDay) optional(m *openings.Minute) *time.Time {
	if m == nil {
		return nil
	}
	t := x.time(*m)
	return &t
}

func (x *lateDay) broken(list []delays.Broken) []BrokenBody {
	out := []BrokenBody{}
	for _, k := range list {
		b := BrokenBody{Kind: string(k.Kind), VisitID: k.Visit, Step: k.Phase, UnitID: k.Unit, Minutes: int(k.Minutes), Past: k.Past,
			Words: k.Words, Chain: k.Chain}
		if b.Chain == nil {
			b.Chain = []string{}
		}
		out = append(out, b)
	}
	return out
}

func (x *lateDay) remedy(r delays.Remedy) RemedyBody {
	b := RemedyBody{ID: x.fingerprint(r), Kind: string(r.Kind), Words: r.Words, Asks: []AskBody{}, Changes: []RemedyChangeBody{},
		MovedVisitIDs: append([]string{}, r.Moved...), Mends: x.broken(r.Removes), Left: x.broken(r.Left), LateMinutes: int(r.LateMinutes),
		WaitingMinutes: int(r.WaitingMinutes), OpenUntil: x.optional(r.OpenUntil)}
	for _, a := range r.Asks {
		ask := AskBody{UnitID: a.Unit, VisitID: a.Visit, Name: x.names[a.Unit]}
		if l := x.visit(a.Visit); l != nil {
			ask.Name = l.name
		}
		b.Asks = append(b.Asks, ask)
	}
	for _, c := range r.Changes {
		l := x.visit(c.Visit)
		last := len(l.plan.Steps) - 1
		b.Changes = append(b.Changes, RemedyChangeBody{VisitID: c.Visit, Name: l.name, Start: x.time(c.Schedule.Phases[0].Start),
			End: x.time(c.Schedule.Phases[last].End), Rebook: c.Rebook})
	}
	_, b.Applies = x.carriedOut(r)
	return b
}
