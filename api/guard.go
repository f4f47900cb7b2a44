package api

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/needs"
	"chairblock/store"
)

// cautions works out what has to be said of hair by today's settings, with the
// exposure of the steps that are really booked.
func (n salonDay) cautions(hair chairtime.Head, steps []scheduling.TimedStep) ([]CautionBody, error) {
	e, err := n.time.Estimate(hair)
	if err != nil {
		return nil, err
	}
	list := slices.DeleteFunc(e.Cautions, func(c chairtime.Caution) bool { return c.Code == chairtime.CautionExposure })
	if c, ok := n.time.ExposureCaution(hair, scheduling.Exposure(steps)); ok {
		list = append([]chairtime.Caution{c}, list...)
	}
	out := make([]CautionBody, len(list))
	for i, c := range list {
		out[i] = CautionBody{string(c.Level), c.Code, c.Text}
	}
	return out, nil
}

// closeAtDesk lets the client leave the chair for the last words and the
// payment.
func closeAtDesk(steps []scheduling.TimedStep) {
	if last := &steps[len(steps)-1]; last.Kind == scheduling.Close && last.Where == scheduling.AtChair {
		last.Where = scheduling.AtDesk
	}
}

// guard holds the cautions of a visit against the request: what is refused
// cannot be booked, and what needs the licensed person's yes can be booked when
// approvedBy names that person. A visit that begins before a skin test can have
// been read needs the yes, too, and so does one that stands too near to others
// of its client.
func (c *composed) guard(n salonDay, now, start time.Time, approvedBy string, near []scheduling.Spacing) error {
	refused, ask := []CautionBody(nil), asks(near)
	for _, x := range c.consulted {
		if c.veiled && approvedBy == "" { // a refusal reads as a question
			x.Level = string(chairtime.LevelNeedsYes)
		}
		if x.Level == string(chairtime.LevelRefuse) {
			refused = append(refused, x)
		} else {
			ask = append(ask, x)
		}
	}
	ask = append(ask, c.recorded...)
	var instead []FieldProblem
	for i, w := range c.estimates {
		if w == nil {
			continue
		}
		if w.normal != "" {
			instead = append(instead, w.askNormal(i))
		}
		for _, x := range w.cautions {
			switch {
			case x.Level == string(chairtime.LevelRefuse):
				refused = append(refused, x)
			case x.Level == string(chairtime.LevelNeedsYes):
				ask = append(ask, x)
			}
		}
	}
	if c.skinTooSoon(n, now, start) {
		ask = append(ask, n.askSkinTest())
	}
	if len(refused) > 0 {
		p := newProblem(http.StatusUnprocessableEntity, "refused", refused[0].Text)
		p.Cautions, p.Errors = refused, instead
		return p
	}
	if len(ask) > 0 && approvedBy == "" {
		return withFirstAllowed(needsYes(ask), near)
	}
	return nil
}

// needsYes asks for the licensed person's yes.
func needsYes(ask []CautionBody) error {
	p := newProblem(http.StatusUnprocessableEntity, "refused", "this needs the yes of the licensed person in charge: "+ask[0].Text)
	p.Cautions = ask
	p.Errors = []FieldProblem{{In: "body", Pointer: "/approved_by", Detail: "is empty", Expected: "the name of the licensed person who said yes"}}
	return p
}

// tooSoon reports whether a skin test made now cannot be read before start.
func (n salonDay) tooSoon(now, start time.Time) bool {
	return start.Sub(now).Hours() < n.time.PatchTestHours
}

// testsSkin reports whether the salon's skin tests are for a service.
func (n salonDay) testsSkin(row store.ServiceRow) bool {
	return n.needRules().AskPatchTest(needs.Service{Chemical: row.Chemical, Aftercare: row.Aftercare})
}

// testsSkin reports whether the salon's skin tests are for a service of c.
func (c *composed) testsSkin(n salonDay) bool {
	return n.needRules().AskPatchTest(needs.Service{Chemical: c.chemical, Aftercare: c.aftercare})
}

// cautionsSkin reports whether a skin test is spoken of: the salon's rule covers a
// service, or its time was worked out from hair.
func (c *composed) cautionsSkin(n salonDay) bool {
	return c.testsSkin(n) || slices.ContainsFunc(c.estimates, func(w *worked) bool {
		return w != nil && slices.ContainsFunc(w.cautions, func(x CautionBody) bool { return x.Code == chairtime.CautionPatchTest })
	})
}

// skinTooSoon reports whether a start asks for the licensed person's yes because a
// skin test made now could not be read before it, and none counts.
func (c *composed) skinTooSoon(n salonDay, now, start time.Time) bool {
	return !c.tested && n.tooSoon(now, start) && c.cautionsSkin(n)
}

// sayMadeBefore is said of every service that a skin test is needed for.
func (n salonDay) sayMadeBefore() CautionBody {
	return CautionBody{string(chairtime.LevelWarn), chairtime.CautionPatchTest,
		fmt.Sprintf("A skin test has to be done at least %s hours before the visit.", scheduling.Number(n.time.PatchTestHours))}
}

func (n salonDay) askSkinTest() CautionBody {
	return CautionBody{string(chairtime.LevelNeedsYes), chairtime.CautionPatchTest, fmt.Sprintf(
		"The visit begins in less than %.0f hours, too soon for a new skin test: the licensed person says whether an earlier one still counts.",
		n.time.PatchTestHours)}
}

// licensed finds the stylist who is named by id or by name, and notes anybody
// else. It returns the name, which the visit keeps as a record.
func licensed(ctx context.Context, t *store.Tx, f *scheduling.Faults, who string) (string, error) {
	if who == "" {
		return "", nil
	}
	staff, err := t.StaffList(ctx)
	if err != nil {
		return "", err
	}
	for _, p := range staff {
		if p.MayLead && p.Active && (p.ID == who || strings.EqualFold(p.Name, who)) {
			return p.Name, nil
		}
	}
	f.Add("approved_by", "is not a licensed person of this salon", "the name or id of a stylist who works here")
	return "", nil
}

// licensedPerson finds the licensed person who says something that goes on
// record: whose token it is, or who is named in field by id or by name. Nobody
// speaks for a stylist who has a token of her own.
func licensedPerson(ctx context.Context, t *store.Tx, f *scheduling.Faults, field, who string) (store.Staff, error) {
	const want = "the name or id of a stylist who works here"
	p := principal(ctx)
	if who == "" && p.StaffID == "" {
		f.Add(field, "is missing, and the token is nobody's own", want)
		return store.Staff{}, nil
	}
	staff, err := t.StaffList(ctx)
	if err != nil {
		return store.Staff{}, err
	}
	for _, x := range staff {
		named := x.ID == who || strings.EqualFold(x.Name, who) || who == "" && x.ID == p.StaffID
		if !x.MayLead || !x.Active || !named {
			continue
		}
		if p.Role == store.LeadRole && p.StaffID != "" && x.ID != p.StaffID {
			f.Add(field, "is somebody else than the token's own stylist", "nothing, or the stylist whose token it is")
		}
		return x, nil
	}
	f.Add(field, "is not a licensed person of this salon", want)
	return store.Staff{}, nil
}
