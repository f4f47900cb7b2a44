package api

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"
	"unicode"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// MinorBody says until when a client is a minor and who answers for her. Her date
// of birth is asked by nobody.
type MinorBody struct {
	Until        string `json:"minor_until" format:"date" doc:"The day on which she reaches the salon's age of consent"`
	ConsentAge   int    `json:"consent_age" readOnly:"true" required:"false" doc:"That age, as it was when this was noted"`
	GuardianName string `json:"guardian_name" required:"false" doc:"Needed before anything is booked"`
	Phone        string `json:"guardian_phone" required:"false" example:"+49 30 901820"`
	Mail         string `json:"guardian_mail" required:"false" example:"rosa@example.org"`
	ContactBy    string `json:"contact_by" required:"false" enum:"mail,call,text,none,not_asked" doc:"How messages reach the guardian; left out or not_asked: mail when there is an address, else not_asked"`
	Stays        string `json:"guardian_stays" required:"false" enum:"present,reachable" doc:"During the visit; left out: reachable"`
	Minor        bool   `json:"minor" readOnly:"true" required:"false" doc:"Still so today, by the age that the salon asks for now"`

	ApprovedBy string            `json:"approved_by,omitempty" maxLength:"80" doc:"The licensed person who agrees; needed for an earlier day while she is a minor"`
	Reason     string            `json:"reason,omitempty" maxLength:"300" doc:"Why; needed for an earlier day while she is a minor"`
	Changes    []MinorChangeBody `json:"changes,omitempty" readOnly:"true" required:"false" doc:"Everything that was ever noted of it, oldest first; only in the answer to GET"`
}

// MinorChangeBody is a change of until when a client is a minor.
type MinorChangeBody struct {
	Was        string    `json:"old_until,omitempty" format:"date" doc:"Left out: she was not noted as a minor before"`
	Until      string    `json:"new_until,omitempty" format:"date" doc:"Left out: it was taken back"`
	ApprovedBy string    `json:"approved_by,omitempty"`
	Reason     string    `json:"reason,omitempty"`
	NotedBy    string    `json:"noted_by"`
	Made       time.Time `json:"made_at"`
}

// GuardianYesBody is a guardian's yes to one visit.
type GuardianYesBody struct {
	ID         string     `json:"id" readOnly:"true" required:"false"`
	GivenBy    string     `json:"given_by,omitempty" doc:"Left out: the guardian who is on file"`
	How        string     `json:"how" enum:"present,phone,written"`
	Given      *time.Time `json:"given_at,omitempty" doc:"Left out: now"`
	TakenBy    string     `json:"taken_by,omitempty" maxLength:"80" doc:"Who took it, by name or id; left out: whose token it is"`
	ApprovedBy string     `json:"approved_by,omitempty" maxLength:"80" doc:"The licensed person who agrees, too, to treating a minor; whoever said yes when the visit was booked agreed to what was asked then"`
}

// TreatmentConsentBody is a client's consent to the wording in use.
type TreatmentConsentBody struct {
	ID          string     `json:"id" readOnly:"true" required:"false"`
	Wording     int        `json:"wording_version,omitempty" minimum:"1" maximum:"1000000" doc:"Of the wording that was agreed to, which has to be the one in use"`
	GivenBy     string     `json:"given_by" doc:"Who agreed: the client, or a minor's guardian" example:"Mara Quist"`
	How         string     `json:"how" enum:"present,phone,written"`
	Given       *time.Time `json:"given_at,omitempty" doc:"Left out: now"`
	TakenBy     string     `json:"taken_by,omitempty" maxLength:"80" doc:"Who took it, by name or id; left out: whose token it is"`
	VisitID     string     `json:"visit_id,omitempty" readOnly:"true" required:"false" doc:"A guardian's yes to this visit"`
	ApprovedBy  string     `json:"approved_by,omitempty" readOnly:"true" required:"false"`
	Withdrawn   *time.Time `json:"withdrawn_at,omitempty" readOnly:"true" required:"false"`
	WithdrawnBy string     `json:"withdrawn_by,omitempty" readOnly:"true" required:"false"`
}

// WordingBody is a text that clients agree to.
type WordingBody struct {
	Version int        `json:"version" readOnly:"true" required:"false"`
	Text    string     `json:"text" minLength:"1" maxLength:"4000"`
	Made    *time.Time `json:"made_at,omitempty" readOnly:"true" required:"false" doc:"Left out for the program's own"`
}

// ownWording is version 1, which a salon uses until it writes its own.
const ownWording = "I was told what will be done, which products are used and what can go wrong. I said what was done to my hair in the last three years " +
	"and what I cannot stand. I know that the visit is stopped when my hair or skin reacts, and that I keep my hair dry and untied afterwards " +
	"for as long as I was told. I agree to the treatment and can take this back at any time before it begins."

type minorInput struct {
	ByID
	IfMatch string `header:"If-Match" doc:"ETag as last read; needed when she is noted as a minor already" example:"\"v3\""`
	Body    MinorBody
}
type minorEndInput struct {
	ByID
	ApprovedBy string `query:"approved_by" maxLength:"80" doc:"The licensed person who agrees; needed while she is a minor"`
	Reason     string `query:"reason" maxLength:"300" doc:"Why, in words that say nothing of her health; needed while she is a minor"`
}
type guardianInput struct {
	ByID
	Repeatable
	Body GuardianYesBody
}
type consentInput struct {
	ByID
	Repeatable
	Body TreatmentConsentBody
}
type wordingInput struct {
	Repeatable
	Body WordingBody
}

func (s *Server) minorRoutes() {
	route(s, huma.Operation{OperationID: "get-minor", Method: http.MethodGet, Path: "/clients/{id}/minor", Summary: "Until when a client is a minor, and who answers for her"}, s.getMinor)
	route(s, huma.Operation{OperationID: "set-minor", Method: http.MethodPut, Path: "/clients/{id}/minor", Summary: "Note that a client is a minor, or change that"}, s.setMinor)
	route(s, huma.Operation{OperationID: "delete-minor", Method: http.MethodDelete, Path: "/clients/{id}/minor", Summary: "Take back that a client is a minor"}, s.deleteMinor)
	route(s, huma.Operation{OperationID: "add-guardian-yes", Method: http.MethodPost, Path: "/visits/{id}/guardian-yes", DefaultStatus: http.StatusCreated,
		Summary: "The guardian of a minor agreed to a visit", Errors: []int{http.StatusConflict}}, s.addGuardianYes)
	route(s, huma.Operation{OperationID: "list-consents", Method: http.MethodGet, Path: "/clients/{id}/consents", Summary: "What a client or her guardian agreed to, taken back or not"}, s.listConsents)
	route(s, huma.Operation{OperationID: "add-consent", Method: http.MethodPost, Path: "/clients/{id}/consents", DefaultStatus: http.StatusCreated,
		Summary: "A client agreed to the wording in use", Errors: []int{http.StatusConflict}}, s.addConsent)
	route(s, huma.Operation{OperationID: "withdraw-consent", Method: http.MethodPost, Path: "/consents/{id}/withdraw", Summary: "A consent or a guardian's yes was taken back"}, s.withdrawConsent)
	route(s, huma.Operation{OperationID: "list-consent-wordings", Method: http.MethodGet, Path: "/consent-wordings", Summary: "Wordings of the consent; the last one is in use"}, s.listWordings)
	route(s, huma.Operation{OperationID: "add-consent-wording", Method: http.MethodPost, Path: "/consent-wordings", DefaultStatus: http.StatusCreated,
		Summary: "Use a new wording from now on: consent is needed again"}, s.addWording)
}

func (b MinorBody) row(client, region string) (store.Minor, error) {
	var f scheduling.Faults
	m := store.Minor{Client: client, ContactBy: b.ContactBy, Stays: cmp.Or(b.Stays, "reachable")}
	m.Until = day(&f, "minor_until", b.Until)
	m.Guardian = text(&f, "guardian_name", b.GuardianName, 0, 120)
	m.Mail = address(&f, "guardian_mail", b.Mail)
	m.Phone = phone(&f, "guardian_phone", b.Phone, region)
	m.ContactBy = contactBy(&f, m.ContactBy, "guardian_mail", m.Mail, "guardian_phone", m.Phone)
	return m, f.Err()
}

func (s *Server) writeMinor(n salonDay, m store.Minor) *found[MinorBody] {
	return &found[MinorBody]{etag(m.Version), MinorBody{Until: m.Until.String(), ConsentAge: m.Age, GuardianName: m.Guardian, Phone: m.Phone, Mail: m.Mail,
		ContactBy: m.ContactBy, Stays: m.Stays, Minor: n.minorAt(m, s.now())}}
}

func (s *Server) getMinor(ctx context.Context, in *ByID) (out *found[MinorBody], err error) {
	err = s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		m, err := t.MinorOf(ctx, in.ID)
		if err != nil {
			return err
		}
		out = s.writeMinor(n, m)
		out.Body.Changes, err = n.minorChanges(ctx, t, in.ID)
		return err
	})
	return out, err
}

// minorChanges are those of a client, oldest first.
func (n salonDay) minorChanges(ctx context.Context, t *store.Tx, client string) ([]MinorChangeBody, error) {
	list, err := t.MinorChanges(ctx, client)
	var out []MinorChangeBody
	for _, c := range list {
		b := MinorChangeBody{ApprovedBy: c.ApprovedBy, Reason: c.Reason, NotedBy: c.NotedBy, Made: c.Made.In(n.loc)}
		if c.Was != nil {
			b.Was = c.Was.String()
		}
		if c.Until != nil {
			b.Until = c.Until.String()
		}
		out = append(out, b)
	}
	return out, err
}

// minorChange is who changes until when a client is a minor, and why. With ends,
// a guardian who is asked today might not be asked any more: then only the
// licensed person's yes and a reason will do. in is where the request says so.
func (s *Server) minorChange(ctx context.Context, t *store.Tx, ends bool, in, approvedBy, reason string) (c store.MinorChange, err error) {
	var f scheduling.Faults
	least := 0
	if ends {
		least = 1
	}
	if ends || approvedBy != "" {
		p, err := licensedPerson(ctx, t, &f, in+"approved_by", text(&f, in+"approved_by", approvedBy, 0, 80))
		if err != nil {
			return c, err
		}
		c.ApprovedBy = p.Name
	}
	c.Reason = text(&f, in+"reason", reason, least, 300)
	if err := f.Err(); err != nil {
		return c, err
	}
	c.Made = s.now()
	c.NotedBy, err = whoNotes(ctx, t)
	return c, err
}

func (s *Server) setMinor(ctx context.Context, in *minorInput) (out *found[MinorBody], err error) {
	region, err := s.region(ctx)
	if err != nil {
		return nil, err
	}
	m, err := in.Body.row(in.ID, region)
	if err != nil {
		return nil, err
	}
	err = s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		if err := t.LockClient(ctx, in.ID); err != nil {
			return err
		}
		m.Age = n.consentAge()
		if latest := n.today(s.now()).AddDate(m.Age, 0, 0); m.Until.After(latest) {
			return &scheduling.InvalidError{Field: "minor_until", Problem: "is later than anybody born today could be " + fmt.Sprint(m.Age), Want: latest.String() + " or earlier"}
		}
		old, err := t.MinorOf(ctx, in.ID)
		if err != nil && !is(err, scheduling.ErrNotFound) {
			return err
		}
		if err := in.stillAs(old, err == nil); err != nil {
			return err
		}
		ends := err == nil && n.minorAt(old, s.now()) && m.Until.Before(n.ofAge(old))
		c, err := s.minorChange(ctx, t, ends, "", in.Body.ApprovedBy, in.Body.Reason)
		if err != nil {
			return err
		}
		err = s.withContact(ctx, t, n, in.ID, func() (err error) { m, err = t.SetMinor(ctx, m, c); return err })
		if err == nil && old.ContactBy == wayNotAsked && m.ContactBy != wayNotAsked {
			err = t.SendAnew(ctx, in.ID, nobodyAsked)
		}
		out = s.writeMinor(n, m)
		return err
	})
	return out, err
}

// stillAs refuses to write over what somebody else has noted meanwhile: there says
// whether anything is noted, and old what.
func (in *minorInput) stillAs(old store.Minor, there bool) error {
	p := Precondition{in.IfMatch}
	if !there {
		if in.IfMatch != "" {
			return scheduling.ErrStale // it was taken back
		}
		return nil
	}
	version, err := p.version()
	if err == nil && version != old.Version {
		err = scheduling.ErrStale
	}
	return err
}

func (s *Server) deleteMinor(ctx context.Context, in *minorEndInput) (*empty, error) {
	return nil, s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		if err := t.LockClient(ctx, in.ID); err != nil {
			return err
		}
		m, err := t.MinorOf(ctx, in.ID)
		if err != nil {
			return err
		}
		c, err := s.minorChange(ctx, t, n.minorAt(m, s.now()), "query.", in.ApprovedBy, in.Reason)
		if err != nil {
			return err
		}
		return s.withContact(ctx, t, n, in.ID, func() error { return t.DeleteMinor(ctx, in.ID, c) })
	})
}

// addGuardianYes notes a guardian's yes. A new one stands beside those before it.
func (s *Server) addGuardianYes(ctx context.Context, in *guardianInput) (*created[GuardianYesBody], error) {
	b := in.Body
	return once(s, ctx, in.Repeatable, "/visits/"+in.ID+"/guardian-yes", b, func(t *store.Tx) (*created[GuardianYesBody], error) {
		v, err := t.LockVisit(ctx, in.ID, 0)
		if err != nil {
			return nil, err
		}
		if !toCome(v) || v.Client == "" {
			return nil, conflict("the visit is " + words(v.State) + " or for nobody who is on file")
		}
		m, err := t.MinorOf(ctx, v.Client)
		if is(err, scheduling.ErrNotFound) {
			return nil, conflict("the client is not noted as a minor")
		}
		if err != nil {
			return nil, err
		}
		var f scheduling.Faults
		c := store.Consent{Client: v.Client, Visit: v.ID, How: b.How, Given: s.happened(&f, "given_at", b.Given),
			GivenBy: cmp.Or(text(&f, "given_by", b.GivenBy, 0, 120), m.Guardian)}
		if c.GivenBy == "" {
			f.Add("given_by", "is missing, and no guardian is on file", "the guardian's name")
		}
		if err := s.takenBy(ctx, t, &f, &c, b.TakenBy); err != nil {
			return nil, err
		}
		if c.ApprovedBy, err = licensed(ctx, t, &f, text(&f, "approved_by", b.ApprovedBy, 0, 80)); err != nil {
			return nil, err
		}
		if err := f.Err(); err != nil {
			return nil, err
		}
		c, err = t.AddConsent(ctx, c)
		return &created[GuardianYesBody]{Location: "/v1/visits/" + in.ID, Body: GuardianYesBody{c.ID, c.GivenBy, c.How, &c.Given, c.TakenBy, c.ApprovedBy}}, err
	})
}

// takenBy notes in c who heard or saw it.
func (s *Server) takenBy(ctx context.Context, t *store.Tx, f *scheduling.Faults, c *store.Consent, who string) error {
	p, err := worker(ctx, t, f, "taken_by", who)
	c.TakenBy = p.Name
	return err
}

func (s *Server) addConsent(ctx context.Context, in *consentInput) (*created[TreatmentConsentBody], error) {
	b := in.Body
	return once(s, ctx, in.Repeatable, "/clients/"+in.ID+"/consents", b, func(t *store.Tx) (*created[TreatmentConsentBody], error) {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return nil, err
		}
		if err := t.LockClient(ctx, in.ID); err != nil {
			return nil, err
		}
		list, err := wordings(ctx, t)
		if err != nil {
			return nil, err
		}
		var f scheduling.Faults
		c := store.Consent{Client: in.ID, Wording: b.Wording, How: b.How, Given: s.happened(&f, "given_at", b.Given), GivenBy: text(&f, "given_by", b.GivenBy, 1, 120)}
		if used := list[len(list)-1].Version; b.Wording != used {
			f.Addf("wording_version", fmt.Sprintf("%d, the one in use", used), "is %d", b.Wording)
		}
		if err := s.takenBy(ctx, t, &f, &c, b.TakenBy); err != nil {
			return nil, err
		}
		if err := f.Err(); err != nil {
			return nil, err
		}
		c, err = t.AddConsent(ctx, c)
		return &created[TreatmentConsentBody]{Location: "/v1/clients/" + in.ID + "/consents", Body: writeConsent(c, n.loc)}, err
	})
}

func writeConsent(c store.Consent, loc *time.Location) TreatmentConsentBody {
	given := c.Given.In(loc)
	return TreatmentConsentBody{ID: c.ID, Wording: c.Wording, GivenBy: c.GivenBy, How: c.How, Given: &given, TakenBy: c.TakenBy, VisitID: c.Visit, ApprovedBy: c.ApprovedBy,
		Withdrawn: localTime(c.Withdrawn, loc), WithdrawnBy: c.WithdrawnBy}
}

func (s *Server) listConsents(ctx context.Context, in *ByID) (*listBody[TreatmentConsentBody], error) {
	var rows []store.Consent
	var loc *time.Location
	err := s.read(ctx, func(t *store.Tx) (err error) {
		if loc, err = zone(ctx, t); err != nil {
			return err
		}
		if _, err := t.ClientByID(ctx, in.ID); err != nil {
			return err
		}
		rows, err = t.Consents(ctx, in.ID)
		return err
	})
	return listOf(rows, func(c store.Consent) TreatmentConsentBody { return writeConsent(c, loc) }), err
}

func (s *Server) withdrawConsent(ctx context.Context, in *ByID) (*found[TreatmentConsentBody], error) {
	var b TreatmentConsentBody
	err := s.inTx(ctx, func(t *store.Tx) error {
		loc, err := zone(ctx, t)
		if err != nil {
			return err
		}
		by, err := whoNotes(ctx, t)
		if err != nil {
			return err
		}
		c, err := t.WithdrawConsent(ctx, in.ID, by, s.now())
		b = writeConsent(c, loc)
		return err
	})
	return &found[TreatmentConsentBody]{Body: b}, err
}

// wordings lists every wording, the program's own first.
func wordings(ctx context.Context, t *store.Tx) ([]store.ConsentWording, error) {
	list, err := t.ConsentWordings(ctx)
	return append([]store.ConsentWording{{Version: 1, Text: ownWording}}, list...), err
}

func writeWording(w store.ConsentWording) WordingBody {
	b := WordingBody{Version: w.Version, Text: w.Text}
	if !w.Made.IsZero() {
		b.Made = &w.Made
	}
	return b
}

func (s *Server) listWordings(ctx context.Context, _ *empty) (*listBody[WordingBody], error) {
	var list []store.ConsentWording
	err := s.read(ctx, func(t *store.Tx) (err error) { list, err = wordings(ctx, t); return err })
	return listOf(list, writeWording), err
}

func (s *Server) addWording(ctx context.Context, in *wordingInput) (*created[WordingBody], error) {
	var f scheduling.Faults
	words := strings.TrimSpace(in.Body.Text)
	if n := len([]rune(words)); n < 1 || n > 4000 {
		f.Addf("text", "1 to 4000 characters", "has %d characters", n)
	}
	if strings.ContainsFunc(words, func(r rune) bool {
		return unicode.IsControl(r) && r != '\n' && r != '\r' || r == '\u2028' || r == '\u2029'
	}) {
		f.Add("text", "holds a control character", "lines of plain text")
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	return once(s, ctx, in.Repeatable, "/consent-wordings", in.Body, func(t *store.Tx) (*created[WordingBody], error) {
		w, err := t.AddConsentWording(ctx, words, s.now())
		return &created[WordingBody]{Location: "/v1/consent-wordings", Body: writeWording(w)}, err
	})
}
