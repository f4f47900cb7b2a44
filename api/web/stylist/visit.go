package stylist

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

// visitView is the page on which a visit is carried out.
type visitView struct {
	base
	Run    api.RunBody
	Name   string
	Here   string // address of the page
	State  string
	Cards  []tapCard
	Going  *stepRow // the step that goes on
	Steps  []stepRow
	Clock2 clockView
	Model  string // for the script that goes on counting, JSON
	Rinse  tap
	Unrin  tap
	Undo   *tap
	Done2  tap  // the end of the visit, before what comes next was noted
	Skip   bool // that is offered
	Ready  tap
	NotYet tap
	Again  []int // minutes after which to look again
	Asks   []askForm
	Needs  []needRow

	MayFinish, MayStop, MayHair, MayOverride bool
	Typed                                    url.Values
}

// tap is a form with one button that notes one thing.
type tap struct {
	Key   string
	Kind  string
	Step  int // -1 for none
	Words string
}

// tapCard is the large next thing to note, of which one is shown.
type tapCard struct {
	Form  tap
	Shown bool
	Tap   string // "solution_on"
	Row   *stepRow
	Until []string   // what comes before it, "wash 10 min"
	Early []*stepRow // the same with what to watch for
}

// stepRow is a step of the visit in words.
type stepRow struct {
	api.RunStepBody
	Class string
	What  string
	When  string // planned
	Real  string // as it was; in brackets what nobody noted
	Begin *tap
	End   *tap
}

// clockView is what is to be watched while product is on, as a page without
// scripts shows it.
type clockView struct {
	On       string // "solution" or "neutralizer"
	Since    string
	Minutes  int
	Check    string
	NoLater  string
	OffBy    string
	Inferred bool
	Words    []string
	Grave    bool
	Judged   bool
}

// askForm is a fact that the card asks for, as a short form.
type askForm struct {
	Kind, Words string
	Fields      []pages.Field
	Key         string
}

// needRow is something that the visit still needs.
type needRow struct {
	api.NeedBody
	Line string
	Form bool
	Key  string
}

func (p page) visit(c echo.Context) error { return p.showVisit(c, http.StatusOK, nil, nil) }

// showVisit shows a visit, with what was refused.
func (p page) showVisit(c echo.Context, status int, wrong []pages.FieldError, typed url.Values) error {
	ctx := c.Request().Context()
	b, err := p.start(c, "")
	if err != nil {
		return api.Sorry(c, err)
	}
	v := visitView{base: b, Typed: typed}
	if v.Run, err = p.run(ctx, c.Param("id")); err != nil {
		return api.Sorry(c, err)
	}
	v.MayFinish, v.MayHair = api.May(ctx, "finish-visit"), api.May(ctx, "hair-as-seen")
	v.MayStop, v.MayOverride = api.May(ctx, "stop-visit"), api.May(ctx, "override-need")
	v.Summary = wrong
	v.Scripts = []string{"queue.js", "watch.js", "visit.js", "keep.js"}
	v.draw()
	return render(c, status, "visit-run", v)
}

func (p page) run(ctx context.Context, id string) (api.RunBody, error) {
	return web.Get[api.RunBody](ctx, p.site, api.Path("visits", id, "run"), nil)
}

// draw puts the visit into words.
func (v *visitView) draw() {
	r := &v.Run
	v.Name, v.Here = v.name(r.Name), home+"visits/"+r.VisitID
	v.title(v.Name)
	v.Sub = strings.Join(r.Services, ", ")
	v.State = api.StateWords(r.State)
	switch {
	case r.State == "arrived" && r.ArrivedAt != nil:
		v.State = "is here since " + v.At(*r.ArrivedAt)
	case r.State == "finished" && r.FinishedAt != nil:
		v.State = "finished at " + v.At(*r.FinishedAt)
	}
	for i := range r.Steps {
		v.Steps = append(v.Steps, v.row(r.Steps[i]))
	}
	if s := r.Now.Step; s != nil {
		v.Going = &v.Steps[s.Ordinal]
	}
	v.Rinse, v.Unrin = v.tap("rinse_now", -1, "Rinse now"), v.tap("undo_rinse_now", -1, "Pressed by mistake: take it back")
	v.Ready, v.NotYet = v.tap("check-ready", -1, "Ready"), v.tap("check", -1, "Not yet, look again in")
	if last := r.Last; last != nil {
		undo := v.tap("undo", -1, "Take back: "+last.Words)
		if last.Step != nil {
			undo.Step = *last.Step
		}
		v.Undo = &undo
	}
	for m := 1; m <= max(10, int(r.Limits.NextLook)); m++ {
		v.Again = append(v.Again, m)
	}
	v.Done2 = v.tap("done", -2, "Done, the visit is over")
	v.Skip = v.Run.State == "under_way" && v.Run.Next.Tap != "done"
	v.cards()
	v.watch()
	v.asks()
	v.needs()
	v.Model = v.model()
}

func (v *visitView) tap(kind string, step int, words string) tap {
	return tap{Key: v.Key + "-" + kind + "-" + strconv.Itoa(step), Kind: kind, Step: step, Words: words}
}

func (v *visitView) row(s api.RunStepBody) stepRow {
	r := stepRow{RunStepBody: s, What: pages.Capital(s.Label), When: v.At(s.Start) + "–" + v.At(s.End), Class: "on"}
	switch {
	case !s.HandsOn:
		r.Class = "off"
	case strings.HasPrefix(s.Kind, "rinse") || s.Kind == "wash":
		r.Class = "basin"
	}
	bracket := func(t *time.Time, which string) string {
		if t == nil {
			return "…"
		}
		if slices.Contains(s.Inferred, which) {
			return "(" + v.At(*t) + ")"
		}
		return v.At(*t)
	}
	if s.RealStart != nil || s.RealEnd != nil {
		r.Real = bracket(s.RealStart, "real_start") + "–" + bracket(s.RealEnd, "real_end")
	}
	noted := func(t *time.Time, which string) bool { return t != nil && !slices.Contains(s.Inferred, which) }
	if state := v.Run.State; state == "arrived" || state == "under_way" || state == "booked" {
		words := "Begin"
		if noted(s.RealStart, "real_start") {
			words = "Correct the beginning"
		}
		begin := v.tap("start", s.Ordinal, words)
		r.Begin = &begin
		words = "End"
		if noted(s.RealEnd, "real_end") {
			words = "Correct the end"
		}
		end := v.tap("finish", s.Ordinal, words)
		r.End = &end
	}
	return r
}

// cards makes one large card for everything that can be next.
func (v *visitView) cards() {
	r := &v.Run
	shown := func(kind string, step *int) bool {
		return r.Next.Tap == kind && (step == nil || r.Next.Step != nil && *r.Next.Step == *step)
	}
	v.Cards = append(v.Cards, tapCard{Form: v.tap("arrive", -1, api.TapWords("arrive")), Tap: "arrive", Shown: shown("arrive", nil)})
	if len(v.Steps) > 0 {
		v.Cards[0].Row = &v.Steps[0]
	}
	before := []string{}
	var early []*stepRow
	for i := range v.Steps {
		s := &v.Steps[i]
		if s.Tap == "" {
			before, early = append(before, s.Label+" "+minutes(s.Planned)), append(early, s)
			continue
		}
		words := api.TapWords(s.Tap)
		if s.Tap == "begin" || words == "" {
			words = "Begin: " + s.Label
		}
		card := tapCard{Form: v.tap("start", s.Ordinal, words), Tap: s.Tap, Row: s, Until: before, Early: early, Shown: shown(s.Tap, &s.Ordinal)}
		if card.Shown {
			card.Form.Words = r.Next.Words
		}
		v.Cards = append(v.Cards, card)
		before, early = nil, nil
	}
	v.Cards = append(v.Cards, tapCard{Form: v.tap("done", -1, api.TapWords("done")), Tap: "done", Shown: shown("done", nil), Until: before, Early: early})
}

func (v *visitView) watch() {
	n := v.Run.Now
	if n.Product == "none" || n.FirstStrand == nil {
		return
	}
	v.Clock2 = clockView{On: n.Product, Since: v.At(*n.FirstStrand), Minutes: n.Minutes, Inferred: n.Inferred, Words: n.Words, Judged: n.Product == "solution"}
	if n.NextCheck != nil {
		v.Clock2.Check = v.At(*n.NextCheck)
	}
	if n.NoLater != nil {
		v.Clock2.NoLater = v.At(*n.NoLater)
	}
	if n.OffBy != nil {
		v.Clock2.OffBy = v.At(*n.OffBy)
	}
	v.Clock2.Grave = slices.Contains([]string{"look_due", "look_late", "ready", "at_maximum", "too_weak"}, n.Watch) || len(n.Flags) > 0
}

// asks makes short forms of what the card asks for.
func (v *visitView) asks() {
	if v.Kept {
		return
	}
	for _, q := range v.Run.Asks {
		f := askForm{Kind: q.Code, Words: q.Words, Key: v.Key + "-" + q.Code}
		typed := func(name string) string {
			if v.Typed.Get("kind") == q.Code {
				return v.Typed.Get(name)
			}
			return ""
		}
		name := func(s string) string { return q.Code + "-" + s }
		switch q.Code {
		case "solution", "neutralizer":
			f.Fields = []pages.Field{pages.Input(name("product"), "As it says on the bottle", "", "text", typed(name("product"))),
				pages.Number(name("ml"), "How much, ml", "left empty: not measured", typed(name("ml")))}
		case "iron":
			f.Fields = []pages.Field{pages.Number(name("setting"), "Setting of the iron", "as the iron shows it", typed(name("setting")))}
		case "dryness":
			f.Fields = []pages.Field{pages.Number(name("percent"), "How dry, %", "", typed(name("percent")))}
		default:
			continue // on the card itself
		}
		v.Asks = append(v.Asks, f)
	}
}

func (v *visitView) needs() {
	if v.Kept {
		return
	}
	for i, n := range v.Run.Needed {
		line := pages.Capital(n.Words)
		if n.Why != "" {
			line += ": " + n.Why
		}
		if n.Right != "" {
			line += " (" + n.Right + ")"
		}
		if n.Owner != "" {
			line += ", " + ownerWords[n.Owner]
		}
		v.Needs = append(v.Needs, needRow{NeedBody: n, Line: line, Form: n.Overridable && v.MayOverride, Key: fmt.Sprintf("%s-need-%d", v.Key, i)})
	}
}

// ownerWords say whose turn it is.
var ownerWords = map[string]string{"desk": "the desk sees to it", "stylist": "ask the stylist in charge", "licensed": "the licensed person decides", "client": "the client's turn",
	"guardian": "the guardian's turn"}

// model is what the script of the page counts with: times and steps, nothing of
// the client.
func (v *visitView) model() string {
	type step struct {
		Step    int    `json:"step"`
		Label   string `json:"label"`
		Planned int    `json:"planned"`
		Tap     string `json:"tap,omitempty"`
		Product string `json:"product,omitempty"`
		Judged  bool   `json:"judged,omitempty"`
		Hands   bool   `json:"hands"`
		Start   int64  `json:"start,omitempty"`
		End     int64  `json:"end,omitempty"`
		Noted   bool   `json:"noted,omitempty"` // somebody noted the beginning
	}
	type look struct {
		At    int64 `json:"at"`
		Ready bool  `json:"ready"`
		Weak  bool  `json:"weak"`
		Next  int   `json:"next"`
	}
	m := struct {
		Visit  string             `json:"visit"`
		State  string             `json:"state"`
		Steps  []step             `json:"steps"`
		Looks  []look             `json:"looks"`
		Limits api.LookLimitsBody `json:"limits"`
		Rinsed int64              `json:"rinsed,omitempty"`
		Zone   string             `json:"zone"`
		Finish bool               `json:"finish"`
	}{Visit: v.Run.VisitID, State: v.Run.State, Steps: []step{}, Looks: []look{}, Limits: v.Run.Limits, Zone: v.Zone, Finish: v.MayFinish}
	ms := func(t *time.Time) int64 {
		if t == nil {
			return 0
		}
		return t.UnixMilli()
	}
	for _, s := range v.Run.Steps {
		m.Steps = append(m.Steps, step{s.Ordinal, s.Label, s.Planned, s.Tap, s.Product, s.Judged, s.HandsOn, ms(s.RealStart), ms(s.RealEnd),
			s.RealStart != nil && !slices.Contains(s.Inferred, "real_start")})
	}
	for _, l := range v.Run.Looks {
		m.Looks = append(m.Looks, look{l.At.UnixMilli(), l.Ready, l.Weak, l.Next})
	}
	if r := v.Run.Now.Rinsed; r != nil {
		m.Rinsed = r.At.UnixMilli()
	}
	doc, err := json.Marshal(m)
	if err != nil { // figures of a kept card are finite
		return "{}"
	}
	return string(doc)
}

// ClockTyped is the time that was typed into a form and refused.
func (v visitView) ClockTyped(t any, which string) string {
	f, ok := t.(tap)
	if p, is := t.(*tap); is && p != nil {
		f, ok = *p, true
	}
	if !ok || v.Typed.Get("kind") != f.Kind || v.Typed.Get("step") != strconv.Itoa(f.Step) || v.Typed.Get("which") != which {
		return ""
	}
	return v.Typed.Get("clock")
}

// without notes that the visit may begin although something is missing.
func (p page) without(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return api.Sorry(c, err)
	}
	_, err = p.site.Ask(c.Request().Context(), api.Question{Method: http.MethodPost, Path: api.Path("visits", c.Param("id"), "needs", form.Get("kind"), "override"),
		Body: api.OverrideInput{Reason: form.Get("reason")}})
	if err != nil {
		wrong, status, ok := web.Wrong(err, map[string]string{"reason": "reason-" + form.Get("kind"), "by": ""})
		if !ok {
			return api.Sorry(c, err)
		}
		return p.showVisit(c, status, wrong, form)
	}
	return web.Done(c, to("visits/"+c.Param("id"), "without"))
}

// TypedReason is what was typed as the reason for letting the visit begin.
func (v visitView) TypedReason(kind string) pages.Field {
	f := pages.Area("reason-"+kind, "Why it may begin without it", "kept encrypted, with your name", "")
	if v.Typed.Get("kind") == kind {
		f.Value = v.Typed.Get("reason")
	}
	for _, w := range v.Summary {
		if w.Field == f.Name {
			f.Error = cmp.Or(f.Error, w.Text)
		}
	}
	return f
}
