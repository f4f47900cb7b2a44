package needs

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"time"

	"chairblock/scheduling"
)

// list is one list in the making.
type list struct {
	v   Visit
	c   Client
	r   Rules
	loc *time.Location
}

// List works out what v needs of c by the rules r, in the order of Kinds. What
// is done is listed, too. Days count in loc.
func List(v Visit, c Client, r Rules, loc *time.Location) []Need {
	l := &list{v, c, r, loc}
	var out []Need
	for _, f := range []func() (Need, bool){l.consultation, l.patchTest, l.strandTest, l.deposit, l.guardian, l.consent} {
		if n, asked := f(); asked {
			n.Basis = l.basis(n)
			out = append(out, l.overridden(n))
		}
	}
	return out
}

// asked reports whether a service of the visit is in scope.
func (l *list) asked(scope Scope) bool {
	return slices.ContainsFunc(l.v.Services, func(s Service) bool { return s.in(scope) })
}

// basis is what n follows from. A deposit follows from nothing but that it is
// asked for.
func (l *list) basis(n Need) string {
	h := sha256.New()
	put := func(list ...any) { fmt.Fprintf(h, "%q\n", fmt.Sprint(list...)) }
	at := func(t time.Time) int64 { return t.Unix() }
	put(n.Kind, n.State)
	if n.Kind == Consultation || n.Kind == PatchTest || n.Kind == StrandTest {
		put(scheduling.CivilDate(l.v.Start, l.loc), l.c.Unreadable)
		for _, s := range l.v.Services {
			put(s.Chemical, s.Aftercare, s.Retouch, s.Families)
			for _, p := range s.Products {
				put(p.ID, "/", p.Name, "/", p.Strength)
			}
		}
		for _, r := range l.c.Reactions {
			put("reaction ", at(r))
		}
	}
	if n.Kind == PatchTest {
		for _, t := range l.c.PatchTests {
			put(t.Family, "/", t.Name, "/", t.Strength, " ", at(t.PutOn), t.Result, at(t.Read))
		}
	}
	if n.Kind == StrandTest {
		for _, t := range l.c.StrandTests {
			put(t.Name, "/", t.Strength, " ", at(t.Made), t.Result)
		}
	}
	if c := l.c.Consultation; c != nil && (n.Kind == Consultation || n.Kind == StrandTest) {
		put(at(c.Made), c.Outcome, c.StrandTest)
		if c.Earliest != nil {
			put(*c.Earliest)
		}
	}
	return hex.EncodeToString(h.Sum(nil))
}

// overridden lets the licensed person's word stand in for what is missing.
func (l *list) overridden(n Need) Need {
	if !n.Open() || n.Final || n.State == Refused {
		return n
	}
	for _, o := range l.v.Overrides {
		if o.Kind == n.Kind && o.Basis == n.Basis {
			n.State, n.Owner, n.By, n.At = Overridden, nobodysTurn, o.By, o.At
			n.Why = o.By + " lets the visit begin without it"
		}
	}
	return n
}

// reacted is the time of the last reaction, the zero time without one.
func (l *list) reacted() time.Time {
	var last time.Time
	for _, at := range l.c.Reactions {
		if at.After(last) {
			last = at
		}
	}
	return last
}

// within reports whether the visit is at most n days after made by the calendar.
func (l *list) within(made time.Time, n int) bool {
	from := scheduling.CivilDate(made, l.loc)
	return int(scheduling.CivilDate(l.v.Start, l.loc).Sub(from)) <= n
}

// consulted is the consultation that counts, nil without one. One that says no
// does not get too old: only a new one lifts it.
func (l *list) consulted() *Consulted {
	c := l.c.Consultation
	if c != nil && c.allows() && (!l.within(c.Made, l.r.ConsultationValidDays) || !c.Made.After(l.reacted())) {
		return nil
	}
	return c
}

func (l *list) consultation() (Need, bool) {
	n := Need{Kind: Consultation, State: Missing, Owner: Stylist, Latest: before(l.v.Start, l.r.ConsultationHours)}
	if l.c.Treated && !slices.ContainsFunc(l.v.Services, func(s Service) bool { return s.in(l.r.ConsultationFor) && !s.Retouch }) {
		n.Latest = l.v.Start
	}
	c := l.consulted()
	switch {
	case c == nil && l.c.Consultation != nil:
		n.Why = "the last consultation is too old, or older than a reaction"
	case c == nil:
		n.Why = "no consultation is on record"
	case c.Outcome == Clear && l.chemical() && c.Earliest != nil && scheduling.CivilDate(l.v.Start, l.loc).Before(*c.Earliest):
		n.State, n.Owner, n.Latest = Waiting, Licensed, l.v.Start
		n.Why = "by the consultation nothing with chemicals is to be done before " + c.Earliest.Format("Mon 2 January 2006") + ": the licensed person decides"
	case c.Outcome == Clear:
		n.State, n.Owner, n.Why = Done, nobodysTurn, "the consultation is on record"
	case c.Outcome == Ask:
		n.State, n.Owner, n.Latest, n.Why = Waiting, Licensed, l.v.Start, "the licensed person has to decide about the consultation"
	default: // what is not known counts as the strictest
		n.State, n.Owner, n.Latest, n.Final = Refused, Licensed, l.v.Start, true
		n.Why = "by the consultation the visit is not to be held"
	}
	return n, l.asked(l.r.ConsultationFor) || l.chemical() && n.State == Refused
}

// chemical reports whether anything with chemicals is done.
func (l *list) chemical() bool { return l.asked(ForChemical) }

func (l *list) deposit() (Need, bool) {
	n := Need{Kind: Deposit, State: Missing, Owner: ByClient, Latest: l.v.Start, Why: "the deposit that was asked for is not there"}
	if by := l.v.DepositBy; by != nil && by.Before(n.Latest) {
		n.Latest = *by
	}
	return n, l.v.DepositOpen && l.asked(l.r.DepositFor)
}

func (l *list) guardian() (Need, bool) {
	n := Need{Kind: Guardian, State: Missing, Owner: ByGuardian, Latest: l.v.Start, Final: true}
	switch {
	case !l.c.GuardianNamed:
		n.Owner, n.Why = Desk, "the client is a minor, and no guardian is named"
	case l.v.GuardianYes == nil:
		n.Why = "the client is a minor, and the guardian's yes to this visit is not noted"
	case l.v.ApprovedBy == "":
		n.State, n.Owner, n.Why = Waiting, Licensed, "the client is a minor: the licensed person has to agree, too"
	default:
		n.State, n.Owner, n.Why = Done, nobodysTurn, "the guardian and "+l.v.ApprovedBy+" agreed"
	}
	return n, l.c.Minor && l.asked(l.r.GuardianFor)
}

// consent is given by nobody in somebody else's place.
func (l *list) consent() (Need, bool) {
	n := Need{Kind: Consent, State: Missing, Owner: ByClient, Latest: l.v.Start, Final: true, Why: "no consent to the wording in use is on record"}
	if l.c.Minor {
		n.Owner = ByGuardian
	}
	if l.c.Consent != nil {
		n.State, n.Owner, n.Why = Done, nobodysTurn, "consent to the wording in use is on record"
	}
	return n, l.asked(l.r.ConsentFor)
}

// uses are what is put on in the services in scope, by family.
func (l *list) uses(scope Scope) []use {
	var out []use
	for _, s := range l.v.Services {
		if !s.in(scope) {
			continue
		}
		families := slices.DeleteFunc(slices.Clone(s.Families), func(f string) bool { return f == scheduling.FamilyWet })
		if len(families) == 0 {
			families = []string{""}
		}
		products := s.Products
		if len(products) == 0 {
			products = []Product{{}}
		}
		for _, f := range families {
			for _, p := range products {
				if u := (use{p, f}); !slices.Contains(out, u) {
					out = append(out, u)
				}
			}
		}
	}
	return out
}
