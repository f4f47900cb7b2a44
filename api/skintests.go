package api

import (
	"cmp"
	"context"
	"encoding/json"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/needs"
	"chairblock/store"
)

// SkinTestInput is a skin test that was put on.
type SkinTestInput struct {
	Product  string     `json:"product" doc:"Name of the product" example:"Soft Wave"`
	Strength string     `json:"strength" doc:"As the maker calls it" example:"N"`
	Family   string     `json:"family,omitempty" doc:"For services of which family; left out: straightening" example:"straightening"`
	Place    string     `json:"place" enum:"behind_the_ear,inner_elbow"`
	PutOn    *time.Time `json:"put_on_at,omitempty" doc:"Left out: now"`
	By       string     `json:"by,omitempty" maxLength:"80" doc:"Who put it on, by name or id; left out: whose token it is"`
}

// SkinTestBody is a skin test with what came out of it.
type SkinTestBody struct {
	ID       string        `json:"id"`
	Product  string        `json:"product"`
	Strength string        `json:"strength"`
	Family   string        `json:"family"`
	Place    string        `json:"place" enum:"behind_the_ear,inner_elbow"`
	PutOn    time.Time     `json:"put_on_at"`
	By       string        `json:"by"`
	Result   string        `json:"result" enum:"unread,negative,positive,unclear" doc:"Of the last reading; an unclear one counts as positive"`
	Readings []ReadingBody `json:"readings" nullable:"false" doc:"In their order; the last one counts"`
	Void     bool          `json:"void" doc:"A reaction was noted since: it counts for no visit any more"`
	Words    string        `json:"words" doc:"Where it stands, for people"`
}

// ReadingBody is one look at a skin test.
type ReadingBody struct {
	Result     string    `json:"result" enum:"negative,positive,unclear"`
	At         time.Time `json:"read_at"`
	By         string    `json:"by"`
	Note       string    `json:"note,omitempty"`
	Correction string    `json:"correction,omitempty" doc:"Why the reading before it was wrong"`
}

// ReadingInput is a look at a skin test.
type ReadingInput struct {
	Result     string     `json:"result" enum:"negative,positive,unclear"`
	At         *time.Time `json:"read_at,omitempty" doc:"Left out: now"`
	By         string     `json:"by,omitempty" maxLength:"80" doc:"Who read it, by name or id; left out: whose token it is"`
	Note       string     `json:"note,omitempty"`
	Correction string     `json:"correction,omitempty" doc:"Why the last reading was wrong; needed, with a licensed person in by, to change a positive or negative one into something else than positive"`
}

// SkinTestPutOn is the answer to a test that was put on. Nothing came out of it
// yet.
type SkinTestPutOn struct {
	ID     string    `json:"id"`
	PutOn  time.Time `json:"put_on_at"`
	ReadAt time.Time `json:"read_from" doc:"From then on a reading that shows nothing counts"`
}

type skinTestInput struct {
	ByID
	Repeatable
	Body SkinTestInput
}
type readingInput struct {
	ByID
	Repeatable
	Body ReadingInput
}

func (s *Server) testRoutes() {
	route(s, huma.Operation{OperationID: "add-skin-test", Method: http.MethodPost, Path: "/clients/{id}/skin-tests", DefaultStatus: http.StatusCreated,
		Summary: "A skin test was put on"}, s.addSkinTest)
	route(s, huma.Operation{OperationID: "read-skin-test", Method: http.MethodPost, Path: "/skin-tests/{id}/reading", DefaultStatus: http.StatusCreated,
		Summary: "A skin test was read", Errors: []int{http.StatusConflict}}, s.readSkinTest)
	route(s, huma.Operation{OperationID: "list-skin-tests", Method: http.MethodGet, Path: "/clients/{id}/skin-tests", Summary: "Skin tests of a client, oldest first"}, s.listSkinTests)
	route(s, huma.Operation{OperationID: "add-strand-test", Method: http.MethodPost, Path: "/clients/{id}/strand-tests", DefaultStatus: http.StatusCreated,
		Summary: "A strand test was made"}, s.addStrandTest)
	route(s, huma.Operation{OperationID: "list-strand-tests", Method: http.MethodGet, Path: "/clients/{id}/strand-tests", Summary: "Strand tests of a client, oldest first"}, s.listStrandTests)
	route(s, huma.Operation{OperationID: "add-reaction", Method: http.MethodPost, Path: "/clients/{id}/reactions", DefaultStatus: http.StatusCreated,
		Summary: "A reaction to a product: no skin test made before it counts any more"}, s.addReaction)
	route(s, huma.Operation{OperationID: "list-reactions", Method: http.MethodGet, Path: "/clients/{id}/reactions", Summary: "Reactions of a client, oldest first"}, s.listReactions)
}

// longAgo is how far back something can be noted (judgement: a career).
const longAgo = 30 * 365 * 24 * time.Hour

// happened reads when something was done: now when it is left out, never in the
// future.
func (s *Server) happened(f *scheduling.Faults, field string, at *time.Time) time.Time {
	now := s.now().Truncate(time.Second)
	if at == nil {
		return now
	}
	t := at.Truncate(time.Second)
	switch {
	case t.After(now.Add(ahead)):
		f.Add(field, "lies in the future", "now or an earlier time")
	case now.Sub(t) > longAgo:
		f.Add(field, "lies more than 30 years back", "when it happened")
	}
	return t
}

// worker finds who did something: the person who is named, or whose token it is.
// Who has a stylist's or an assistant's token of her own notes what she did herself
// and nothing in another's name.
func worker(ctx context.Context, t *store.Tx, f *scheduling.Faults, field, who string) (store.Staff, error) {
	const want = "the name or id of somebody who works here"
	if who = cmp.Or(strings.TrimSpace(who), principal(ctx).StaffID); who == "" {
		f.Add(field, "is missing, and the token is nobody's own", want)
		return store.Staff{}, nil
	}
	staff, err := t.StaffList(ctx)
	if err != nil {
		return store.Staff{}, err
	}
	for _, x := range staff {
		if x.Active && (x.ID == who || strings.EqualFold(x.Name, who)) {
			p := principal(ctx)
			if own := p.Role == store.LeadRole || p.Role == store.AssistantRole; own && p.StaffID != "" && x.ID != p.StaffID {
				f.Add(field, "is somebody else than whose token it is", "nothing, or the person whose token it is")
			}
			return x, nil
		}
	}
	f.Add(field, "does not work in this salon", want)
	return store.Staff{}, nil
}

// noted is what is kept of the answer to a note about health: nothing of what it
// says.
type noted struct {
	ID string `json:"id"`
}

// note adds a note about a client's tests, once however often it is asked for with
// the same key; path and body are of the request. check looks at what is on record
// already, which nobody changes meanwhile. It returns the note and what goes into the
// header of a repetition.
func (s *Server) note(ctx context.Context, in Repeatable, path string, body any, client string, check func(*store.Tx, *store.TestFacts) error) (store.TestNote, string, error) {
	raw, err := json.Marshal(body)
	if err != nil {
		return store.TestNote{}, "", err
	}
	var prints store.SealedPrints
	if in.key() != "" { // what is kept of the request must not tell what was seen
		if prints, err = s.store.SealedPrints(raw); err != nil {
			return store.TestNote{}, "", err
		}
	}
	var note store.TestNote
	out, err := once(s, ctx, in, path, prints, func(t *store.Tx) (_ *created[noted], err error) {
		note = store.TestNote{Client: client, Noted: s.now()}
		if err := t.LockClient(ctx, client); err != nil {
			return nil, err
		}
		if note.NotedBy, err = whoNotes(ctx, t); err != nil {
			return nil, err
		}
		if err := check(t, &note.TestFacts); err != nil {
			return nil, err
		}
		note, err = t.AddTestNote(ctx, note)
		return &created[noted]{Body: noted{note.ID}}, err
	})
	if err != nil {
		return note, "", err
	}
	if out.Replayed != "" {
		err = s.read(ctx, func(t *store.Tx) (err error) { note, err = t.TestNoteByID(ctx, out.Body.ID); return err })
	}
	return note, out.Replayed, err
}

// by notes in x who did it.
func (s *Server) by(ctx context.Context, t *store.Tx, f *scheduling.Faults, x *store.TestFacts, who string) error {
	p, err := worker(ctx, t, f, "by", who)
	x.ByID, x.By = p.ID, p.Name
	return err
}

// inList notes in x which product of the salon's list it is, if it is one, so that
// it stays the same when the product gets another name.
func inList(ctx context.Context, t *store.Tx, x *store.TestFacts) error {
	list, err := t.Products(ctx)
	for _, p := range list {
		if strings.EqualFold(p.Name, x.Product) && strings.EqualFold(p.Strength, x.Strength) {
			x.ProductID = p.ID
		}
	}
	return err
}

func (s *Server) addSkinTest(ctx context.Context, in *skinTestInput) (*created[SkinTestPutOn], error) {
	b := in.Body
	path := "/clients/" + in.ID + "/skin-tests"
	x, replayed, err := s.note(ctx, in.Repeatable, path, b, in.ID, func(t *store.Tx, x *store.TestFacts) error {
		var f scheduling.Faults
		*x = store.TestFacts{What: store.PatchPutOn, NotedBy: x.NotedBy, Place: b.Place, At: s.happened(&f, "put_on_at", b.PutOn),
			Product: text(&f, "product", b.Product, 1, 80), Strength: text(&f, "strength", b.Strength, 0, 40)}
		if err := inList(ctx, t, x); err != nil {
			return err
		}
		x.Family = cmp.Or(b.Family, scheduling.FamilyStraightening)
		if !skillName.MatchString(x.Family) {
			f.Add("family", "is not the name of a family", "small letters, digits and _, such as straightening or colour")
		}
		if err := s.by(ctx, t, &f, x, b.By); err != nil {
			return err
		}
		return f.Err()
	})
	if err != nil {
		return nil, err
	}
	var hours float64
	err = s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		hours = n.needRules().PatchTestReadHours
		return err
	})
	return &created[SkinTestPutOn]{Location: "/v1" + path, Replayed: replayed,
		Body: SkinTestPutOn{x.ID, x.At, x.At.Add(time.Duration(hours * float64(time.Hour)))}}, err
}

func (s *Server) readSkinTest(ctx context.Context, in *readingInput) (*created[ReadingBody], error) {
	var test store.TestNote
	err := s.inTx(ctx, func(t *store.Tx) (err error) {
		if test, err = t.TestNoteByID(ctx, in.ID); err == nil && test.What != store.PatchPutOn {
			err = scheduling.ErrNotFound
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	b := in.Body
	x, replayed, err := s.note(ctx, in.Repeatable, "/skin-tests/"+in.ID+"/reading", b, test.Client, func(t *store.Tx, x *store.TestFacts) error {
		var f scheduling.Faults
		*x = store.TestFacts{What: store.PatchRead, Of: test.ID, NotedBy: x.NotedBy, Result: b.Result, At: s.happened(&f, "read_at", b.At),
			Words: text(&f, "note", b.Note, 0, 300), Corrects: text(&f, "correction", b.Correction, 0, 300)}
		if x.At.Before(test.At) {
			f.Add("read_at", "is before the test was put on", test.At.Format(time.RFC3339)+" or later")
		}
		who := worker
		if b.Correction != "" {
			who = licensedPerson
		}
		by, err := who(ctx, t, &f, "by", b.By)
		if err != nil {
			return err
		}
		x.ByID, x.By = by.ID, by.Name
		if err := f.Err(); err != nil {
			return err
		}
		if ctx, err = healthOf(ctx, t, test.Client); err != nil {
			return err
		}
		return mayRead(ctx, t, test, *x, by)
	})
	if err != nil {
		return nil, err
	}
	return &created[ReadingBody]{Location: "/v1/clients/" + test.Client + "/skin-tests", Replayed: replayed, Body: writeReading(x)}, nil
}

// mayRead refuses to read a test again without a word why: what was noted as
// negative or positive stays so unless somebody licensed says that it was wrong.
// That it turned positive needs no such word.
func mayRead(ctx context.Context, t *store.Tx, test store.TestNote, x store.TestFacts, by store.Staff) error {
	notes, err := t.TestNotes(ctx, test.Client)
	if err != nil {
		return err
	}
	var last *store.TestNote
	for i, n := range notes {
		if n.Unreadable != nil {
			return n.Unreadable
		}
		if n.What == store.PatchRead && n.Of == test.ID {
			last = &notes[i]
		}
	}
	if last != nil && last.Result == x.Result {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		if from := test.At.Add(time.Duration(n.needRules().PatchTestReadHours * float64(time.Hour))); last.At.Before(from) {
			return nil // too soon to count: it has to be read again, whatever it shows
		}
	}
	switch {
	case last == nil, last.Result == string(needs.Unclear), x.Result == string(needs.Positive) && last.Result != x.Result:
		return nil
	case x.Corrects == "" && !seesHealth(ctx): // which of the two it is tells the result
		return conflict("the test was read already by " + last.By + ": ask the stylist in charge")
	case last.Result == x.Result:
		return conflict("the test was read already by " + last.By + ", with the same result")
	case x.Corrects == "":
		return conflict("the test was read already by " + last.By + ": a licensed person has to say in correction why that was wrong")
	case !by.MayLead:
		return &scheduling.InvalidError{Field: "by", Problem: "is not a licensed person", Want: "a stylist: a reading is corrected by nobody else"}
	}
	return nil
}

func writeReading(x store.TestNote) ReadingBody {
	return ReadingBody{x.Result, x.At, x.By, x.Words, x.Corrects}
}

// tests reads what is noted of a client's tests, all of it or nothing, for those
// who may, and notes about what they read.
func (s *Server) tests(ctx context.Context, client, about string) (list []store.TestNote, n salonDay, err error) {
	err = s.inTx(ctx, func(t *store.Tx) error {
		if _, err := t.ClientByID(ctx, client); err != nil {
			return err
		}
		if err := s.needsHealthOf(ctx, t, client, about); err != nil {
			return err
		}
		if n, err = loadSalon(ctx, t); err != nil {
			return err
		}
		list, err = t.TestNotes(ctx, client)
		return err
	})
	for _, x := range list {
		if x.Unreadable != nil {
			return nil, n, x.Unreadable
		}
	}
	return list, n, err
}

func (s *Server) listSkinTests(ctx context.Context, in *ByID) (*listBody[SkinTestBody], error) {
	notes, n, err := s.tests(ctx, in.ID, "skin_tests")
	if err != nil {
		return nil, err
	}
	var out listBody[SkinTestBody]
	out.Body.Items = []SkinTestBody{}
	at := map[string]int{}
	for _, x := range notes {
		switch x.What {
		case store.PatchPutOn:
			at[x.ID] = len(out.Body.Items)
			out.Body.Items = append(out.Body.Items, SkinTestBody{ID: x.ID, Product: x.Product, Strength: x.Strength, Family: x.Family, Place: x.Place,
				PutOn: x.At.In(n.loc), By: x.By, Result: "unread", Readings: []ReadingBody{}})
		case store.PatchRead:
			i, ok := at[x.Of]
			if !ok {
				continue
			}
			b, r := &out.Body.Items[i], writeReading(x)
			r.At = r.At.In(n.loc)
			b.Readings, b.Result = append(b.Readings, r), x.Result
		case store.StrandMade, store.Reaction:
		}
	}
	for i := range out.Body.Items {
		b := &out.Body.Items[i]
		for _, x := range notes {
			b.Void = b.Void || x.What == store.Reaction && !b.PutOn.After(x.At)
		}
		b.Words = n.testWords(*b, s.now())
	}
	return &out, nil
}

// testWords says where a test stands at now.
func (n salonDay) testWords(b SkinTestBody, now time.Time) string {
	rules := n.needRules()
	last := n.today(b.PutOn).AddDate(0, 0, rules.PatchTestValidDays)
	switch {
	case b.Result == string(needs.Positive):
		return "positive: not to be used on this client"
	case b.Void:
		return "counts no more: a reaction was noted since"
	case b.Result == string(needs.Unclear):
		return "unclear: counts as positive until it is read again"
	case b.Result == "unread":
		return "not read yet"
	case n.today(now).After(last):
		return "too old: it counted until " + last.Format("2 January 2006")
	}
	return "negative: counts for visits until " + last.Format("2 January 2006")
}
