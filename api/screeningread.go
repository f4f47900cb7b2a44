package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/screening"
	"chairblock/store"
)

// SaidBody is a question with its answer.
type SaidBody struct {
	Question string `json:"question"`
	Text     string `json:"text" doc:"The question as it was asked"`
	Answer   string `json:"answer"`
	Words    string `json:"words" doc:"The answer in words"`
}

// ReasonBody is one answer that counts.
type ReasonBody struct {
	Question   string `json:"question"`
	Code       string `json:"code"`
	Level      string `json:"level" enum:"clear,ask,do_not_book" doc:"clear: a note that hinders nothing"`
	Words      string `json:"words"`
	Source     string `json:"source" doc:"Where the rule comes from; the maker's directions go before it"`
	StrandTest bool   `json:"needs_strand_test"`
	Earliest   string `json:"earliest,omitempty" format:"date"`
}

// ConsentBody is a kept agreement.
type ConsentBody struct {
	By        string     `json:"by" enum:"client,guardian"`
	At        time.Time  `json:"at"`
	Wording   int        `json:"wording"`
	Text      string     `json:"text"`
	Withdrawn *time.Time `json:"withdrawn_at,omitempty"`
}

// DecisionBody is what the licensed person said.
type DecisionBody struct {
	Decision string    `json:"decision" enum:"yes,no"`
	Why      string    `json:"why"`
	ByID     string    `json:"decided_by_id"`
	By       string    `json:"decided_by"`
	At       time.Time `json:"decided_at"`
}

// ScreeningBody is a consultation with its answers.
type ScreeningBody struct {
	ScreeningItem
	ClientID  string         `json:"client_id"`
	MadeByID  string         `json:"made_by_id,omitempty"`
	Consent   ConsentBody    `json:"consent"`
	Summary   string         `json:"summary" doc:"The outcome in words, with what goes before it"`
	Reasons   []ReasonBody   `json:"reasons" nullable:"false"`
	Answers   []SaidBody     `json:"answers" nullable:"false" doc:"Empty once erased"`
	Decisions []DecisionBody `json:"decisions" nullable:"false" doc:"All that the licensed person said; the last one counts"`
}

// mayReadHealth refuses the answers of c to a stylist who has nothing to do with
// the client, and to a token that is nobody's own.
func mayReadHealth(ctx context.Context, t *store.Tx, c store.Screening) error {
	ctx, err := healthOf(ctx, t, c.Client)
	if err == nil && !seesHealth(ctx) && !heldBy(ctx, c) {
		err = newProblem(http.StatusForbidden, "forbidden", "this needs the stylist who held the consultation, who leads or led a visit of the client, or the owner")
	}
	return err
}

// heldBy reports whether the caller held the consultation herself.
func heldBy(ctx context.Context, c store.Screening) bool {
	p := principal(ctx)
	return p.StaffID != "" && p.StaffID == c.MadeBy
}

func (s *Server) getScreening(ctx context.Context, in *ByID) (*struct{ Body ScreeningBody }, error) {
	var out struct{ Body ScreeningBody }
	err := s.inTx(ctx, func(t *store.Tx) error {
		c, err := t.ScreeningByID(ctx, in.ID)
		if err != nil {
			return err
		}
		if err := mayReadHealth(ctx, t, c); err != nil {
			return err
		}
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		if out.Body, err = n.readScreening(ctx, t, c); err != nil || c.Erased != nil {
			return err
		}
		return s.noteHealth(ctx, t, c.ID, "read")
	})
	if err != nil {
		return nil, err
	}
	return &out, nil
}

// readScreening opens the answers of c and says what follows from them, by the
// form and on the day of the consultation.
func (n salonDay) readScreening(ctx context.Context, t *store.Tx, c store.Screening) (ScreeningBody, error) {
	b := ScreeningBody{ScreeningItem: n.screeningItem(c, true), ClientID: c.Client, MadeByID: c.MadeBy,
		Reasons: []ReasonBody{}, Answers: []SaidBody{}, Decisions: []DecisionBody{},
		Consent: ConsentBody{By: c.ConsentBy, At: c.ConsentAt.In(n.loc), Wording: c.ConsentWording}}
	if c.Withdrawn != nil {
		b.Consent.Withdrawn = new(c.Withdrawn.In(n.loc))
	}
	row, err := t.FormByVersion(ctx, c.FormVersion)
	if err != nil {
		return b, err
	}
	form, err := readForm(row)
	if err != nil {
		return b, err
	}
	b.Consent.Text = form.Consent
	if c.Erased != nil {
		b.Summary = "The answers are erased: hold a new consultation. " + screening.First
		return b, nil
	}
	answers, why, err := t.Answers(ctx, c)
	if err != nil {
		return b, err
	}
	if err := b.open(n, c, form.Form, answers); err != nil {
		return b, err
	}
	if len(why) > 0 {
		if err := json.Unmarshal(why, &b.Decisions); err != nil {
			return b, fmt.Errorf("api: decisions of consultation: %w", errUnreadable)
		}
	}
	return b, nil
}

// errUnreadable stands for a decoder's words, which may repeat what was
// answered.
var errUnreadable = fmt.Errorf("what was sealed cannot be read")

func (b *ScreeningBody) open(n salonDay, c store.Screening, form screening.Form, sealed []byte) error {
	var said []AnswerBody
	if err := json.Unmarshal(sealed, &said); err != nil {
		return fmt.Errorf("api: answers of consultation: %w", errUnreadable)
	}
	list := make([]screening.Answer, len(said))
	for i, a := range said {
		list[i] = screening.Answer{Question: a.Question, Text: a.Answer}
	}
	o, err := screening.Judge(form, list, n.today(c.Made))
	if err != nil {
		return fmt.Errorf("api: answers of consultation: %w", errUnreadable)
	}
	b.Summary = o.Words()
	for _, r := range o.Reasons {
		x := ReasonBody{Question: r.Question, Code: r.Code, Level: string(r.Level), Words: r.Words, Source: r.Source, StrandTest: r.StrandTest}
		if r.Earliest != nil {
			x.Earliest = r.Earliest.String()
		}
		b.Reasons = append(b.Reasons, x)
	}
	for _, q := range form.Questions {
		if i := slices.IndexFunc(said, func(a AnswerBody) bool { return a.Question == q.ID }); i >= 0 {
			b.Answers = append(b.Answers, SaidBody{q.ID, q.Text, said[i].Answer, q.Words(said[i].Answer)})
		}
	}
	return nil
}

// erasure says why answers are erased.
type erasure struct {
	ByID
	Because string `query:"because" enum:"withdrawn,mistake" default:"withdrawn" doc:"withdrawn: the client does not agree any more; mistake: it was not this client's form"`
}

// deleteScreening erases answers. It needs no key: a lost one keeps nobody from
// withdrawing.
func (s *Server) deleteScreening(ctx context.Context, in *erasure) (*empty, error) {
	return nil, s.inTx(ctx, func(t *store.Tx) error {
		c, err := t.LockScreening(ctx, in.ID)
		if err != nil {
			return err
		}
		if err := mayReadHealth(ctx, t, c); err != nil {
			return err
		}
		if err := t.EraseScreening(ctx, c.ID, s.now(), in.Because == "withdrawn"); err != nil || c.Erased != nil {
			return err
		}
		return s.noteHealth(ctx, t, c.ID, "erased")
	})
}

// DecisionInput is what the licensed person says to a consultation.
type DecisionInput struct {
	Decision  string `json:"decision" enum:"yes,no"`
	Why       string `json:"why" doc:"The reason, 1 to 500 characters; kept encrypted"`
	DecidedBy string `json:"decided_by,omitempty" doc:"Name or id of the licensed person; left out: whose token it is"`
}

// DecisionMade is a consultation after a decision.
type DecisionMade struct {
	ID       string `json:"id"`
	Outcome  string `json:"outcome" enum:"clear,ask,do_not_book"`
	Decision string `json:"decision" enum:"yes,no"`
}

type decisionInput struct {
	ByID
	Body DecisionInput
}

func (s *Server) decideScreening(ctx context.Context, in *decisionInput) (*struct{ Body DecisionMade }, error) {
	if err := s.store.MaySeal(); err != nil {
		return nil, err
	}
	var out struct{ Body DecisionMade }
	err := s.inTx(ctx, func(t *store.Tx) error {
		c, err := t.LockScreening(ctx, in.ID)
		if err != nil {
			return err
		}
		if err := mayReadHealth(ctx, t, c); err != nil {
			return err
		}
		c, err = s.decide(ctx, t, c, in.Body)
		out.Body = DecisionMade{c.ID, string(c.Outcome), c.Decision}
		return err
	})
	if err != nil {
		return nil, err
	}
	return &out, nil
}

// decide notes a decision on a locked consultation.
func (s *Server) decide(ctx context.Context, t *store.Tx, c store.Screening, b DecisionInput) (store.Screening, error) {
	var f scheduling.Faults
	why := text(&f, "why", b.Why, 1, screening.MaxText)
	who, err := licensedPerson(ctx, t, &f, "decided_by", text(&f, "decided_by", b.DecidedBy, 0, 80))
	if err != nil {
		return c, err
	}
	if err := f.Err(); err != nil {
		return c, err
	}
	if err := mayDecide(ctx, t, c, b.Decision); err != nil {
		return c, err
	}
	_, old, err := t.Answers(ctx, c)
	if err != nil {
		return c, err
	}
	all := []DecisionBody{}
	if len(old) > 0 {
		if err := json.Unmarshal(old, &all); err != nil {
			return c, fmt.Errorf("api: decisions of consultation: %w", errUnreadable)
		}
	}
	if n := len(all); n > 0 && all[n-1].Decision == b.Decision && all[n-1].Why == why && all[n-1].ByID == who.ID {
		return c, nil // pressed twice
	}
	now := s.now()
	words, err := json.Marshal(append(all, DecisionBody{b.Decision, why, who.ID, who.Name, now}))
	if err != nil {
		return c, err
	}
	c.Decision, c.DecidedBy, c.DecidedName, c.DecidedAt = b.Decision, who.ID, who.Name, &now
	if err := t.Decide(ctx, c, words); err != nil {
		return c, err
	}
	return c, s.noteHealth(ctx, t, c.ID, "decided")
}

// mayDecide refuses a decision that nobody can make. A no can always be said.
func mayDecide(ctx context.Context, t *store.Tx, c store.Screening, decision string) error {
	switch {
	case c.Erased != nil:
		return conflict("the answers are erased: hold a new consultation")
	case decision == "no", c.Outcome == screening.Ask:
		return nil
	case c.Outcome == screening.Clear && c.Decision == "":
		return conflict("nothing here needs a yes")
	case c.Outcome == screening.Clear: // after a no
		return nil
	case !c.AfterStrandTest:
		return newProblem(http.StatusUnprocessableEntity, "refused", "what was answered rules the service out; a yes does not change that. "+screening.First)
	}
	held, err := strandTestHeld(ctx, t, c)
	if err == nil && !held {
		err = newProblem(http.StatusUnprocessableEntity, "refused", "a yes is possible only after a strand test that was fine was written down. "+screening.First)
	}
	return err
}
