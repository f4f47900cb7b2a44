package needs_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/needs"
)

var berlin = func() *time.Location {
	l, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		panic(err)
	}
	return l
}()

// start is that of most visits: a Thursday at ten.
var start = time.Date(2026, 6, 11, 10, 0, 0, 0, berlin)

func ago(d time.Duration) time.Time { return start.Add(-d) }

const day = 24 * time.Hour

var (
	straight = needs.Service{Chemical: true, Aftercare: true, Families: []string{scheduling.FamilyStraightening}}
	retouch  = needs.Service{Chemical: true, Aftercare: true, Retouch: true, Families: []string{scheduling.FamilyStraightening}}
	colour   = needs.Service{Chemical: true, Families: []string{scheduling.FamilyColour}}
	cut      = needs.Service{}
)

func visit(list ...needs.Service) needs.Visit { return needs.Visit{Start: start, Services: list} }

// ready is a client on whose record nothing is missing for a straightening.
func ready() needs.Client {
	yes := ago(5 * day)
	return needs.Client{
		Consultation: &needs.Consulted{Made: ago(10 * day), Outcome: needs.Clear},
		PatchTests:   []needs.Patch{negative()},
		Consent:      &yes,
	}
}

var soft = needs.Product{Name: "Soft Wave", Strength: "N"}

func negative() needs.Patch {
	return needs.Patch{Family: scheduling.FamilyStraightening, Product: soft, PutOn: ago(4 * day), Result: needs.Negative, Read: ago(2 * day)}
}

// states writes a list in a line: "consultation missing, patch_test done".
func states(list []needs.Need) string {
	words := make([]string, len(list))
	for i, n := range list {
		words[i] = fmt.Sprintf("%s %s", n.Kind, n.State)
	}
	return strings.Join(words, ", ")
}

func listed(v needs.Visit, c needs.Client, change ...func(*needs.Rules)) []needs.Need {
	r := needs.DefaultRules()
	for _, f := range change {
		f(&r)
	}
	return needs.List(v, c, r, berlin)
}

func of(t *testing.T, list []needs.Need, k needs.Kind) needs.Need {
	t.Helper()
	for _, n := range list {
		if n.Kind == k {
			return n
		}
	}
	require.Failf(t, "not listed", "%s in %s", k, states(list))
	return needs.Need{}
}

func TestWhatEachServiceAsksOfSomebodyUnknown(t *testing.T) {
	for _, x := range []struct {
		name string
		v    needs.Visit
		want string
	}{
		{"a straightening", visit(straight), "consultation missing, patch_test missing, strand_test missing, consent missing"},
		{"a retouch", visit(retouch), "consultation missing, patch_test missing, strand_test missing, consent missing"},
		{"a colour", visit(colour), "patch_test missing, consent missing"},
		{"a cut", visit(cut), ""},
		{"a cut with a straightening", visit(cut, straight), "consultation missing, patch_test missing, strand_test missing, consent missing"},
		{"nothing", visit(), ""},
	} {
		require.Equal(t, x.want, states(listed(x.v, needs.Client{})), x.name)
	}
}

// 48 hours for the skin (trade pages) and 24 for a strand (judgement) are the rules to
// begin with; the times are worked out by hand. In 2026 clocks of Berlin go forward in
// the night to 29 March and back in that to 25 October (Directive 2000/84/EC: the last
// Sundays of March and October).
func TestTheLatestTimesAreElapsedHoursBeforeTheStart(t *testing.T) {
	for _, x := range []struct {
		name        string
		start       time.Time
		put, strand time.Time
	}{
		{"an ordinary week", start, time.Date(2026, 6, 9, 10, 0, 0, 0, berlin), time.Date(2026, 6, 10, 10, 0, 0, 0, berlin)},
		// 48 hours before ten o'clock on the Monday after clocks went forward.
		{"clocks go forward", time.Date(2026, 3, 30, 10, 0, 0, 0, berlin), time.Date(2026, 3, 28, 9, 0, 0, 0, berlin), time.Date(2026, 3, 29, 10, 0, 0, 0, berlin)},
		{"clocks go back", time.Date(2026, 10, 26, 10, 0, 0, 0, berlin), time.Date(2026, 10, 24, 11, 0, 0, 0, berlin), time.Date(2026, 10, 25, 10, 0, 0, 0, berlin)},
		{"midnight", time.Date(2026, 6, 11, 0, 0, 0, 0, berlin), time.Date(2026, 6, 9, 0, 0, 0, 0, berlin), time.Date(2026, 6, 10, 0, 0, 0, 0, berlin)},
	} {
		list := listed(needs.Visit{Start: x.start, Services: []needs.Service{straight}}, needs.Client{})
		require.True(t, x.put.Equal(of(t, list, needs.PatchTest).Latest), "%s: %s", x.name, of(t, list, needs.PatchTest).Latest)
		require.True(t, x.strand.Equal(of(t, list, needs.StrandTest).Latest), x.name)
		require.Equal(t, x.start, of(t, list, needs.Consent).Latest, x.name)

		c := needs.Client{PatchTests: []needs.Patch{{PutOn: x.put, Result: needs.Negative, Read: x.start}}}
		list = listed(needs.Visit{Start: x.start, Services: []needs.Service{straight}}, c)
		require.Equal(t, needs.Done, of(t, list, needs.PatchTest).State, x.name)
		c.PatchTests[0].PutOn = x.put.Add(time.Second)
		list = listed(needs.Visit{Start: x.start, Services: []needs.Service{straight}}, c)
		require.Equal(t, needs.Missing, of(t, list, needs.PatchTest).State, "%s: a second later", x.name)
	}
}

func TestARetouchForSomebodyTreatedHereIsTalkedOverOnTheDay(t *testing.T) {
	require.Equal(t, start, of(t, listed(visit(retouch), needs.Client{Treated: true}), needs.Consultation).Latest)
	require.Equal(t, ago(day), of(t, listed(visit(retouch), needs.Client{}), needs.Consultation).Latest)
	require.Equal(t, ago(day), of(t, listed(visit(retouch, straight), needs.Client{Treated: true}), needs.Consultation).Latest)
}

func TestOnePatchTestIsJudged(t *testing.T) {
	for _, x := range []struct {
		name   string
		change func(*needs.Patch)
		want   needs.State
		final  bool
	}{
		{"negative", func(*needs.Patch) {}, needs.Done, true},
		{"positive", func(p *needs.Patch) { p.Result = needs.Positive }, needs.Refused, true},
		{"unclear", func(p *needs.Patch) { p.Result = needs.Unclear }, needs.Refused, true},
		{"not read", func(p *needs.Patch) { p.Result = needs.Unread }, needs.Waiting, true},
		{"read after a quarter of an hour", func(p *needs.Patch) { p.Read = p.PutOn.Add(15 * time.Minute) }, needs.Waiting, true},
		{"positive after a quarter of an hour", func(p *needs.Patch) { p.Result, p.Read = needs.Positive, p.PutOn.Add(15*time.Minute) }, needs.Refused, true},
		{"on the last day", func(p *needs.Patch) { p.PutOn = ago(180*day + 9*time.Hour) }, needs.Done, true},
		{"a day too old", func(p *needs.Patch) { p.PutOn = ago(181 * day) }, needs.Missing, true},
		{"positive long ago", func(p *needs.Patch) { p.PutOn, p.Result = ago(900*day), needs.Positive }, needs.Refused, true},
		{"too late", func(p *needs.Patch) { p.PutOn, p.Read = ago(47*time.Hour), ago(0) }, needs.Missing, true},
		{"for colour", func(p *needs.Patch) { p.Family = scheduling.FamilyColour }, needs.Missing, true},
		{"positive for colour", func(p *needs.Patch) { p.Family, p.Result = scheduling.FamilyColour, needs.Positive }, needs.Missing, true},
	} {
		c := ready()
		x.change(&c.PatchTests[0])
		n := of(t, listed(visit(straight), c), needs.PatchTest)
		require.Equal(t, x.want, n.State, "%s: %s", x.name, n.Why)
		require.Equal(t, x.final, n.Final, x.name)
	}
}

func TestATestCountsForItsProductAndStrengthOnly(t *testing.T) {
	uses := func(name, strength string) needs.Visit {
		x := straight
		x.Products = []needs.Product{{Name: name, Strength: strength}}
		return visit(x)
	}
	strand := func(c needs.Client) needs.Client {
		c.Consultation.StrandTest = true
		c.StrandTests = []needs.Strand{{Product: soft, Made: ago(3 * day), Result: needs.Fine}}
		return c
	}
	for _, x := range []struct {
		name, strength string
		want           needs.State
	}{
		{"Soft Wave", "N", needs.Done}, {"soft  wave ", "n", needs.Done}, {"Soft Wave", "F", needs.Missing}, {"Firm Wave", "N", needs.Missing},
	} {
		list := listed(uses(x.name, x.strength), strand(ready()))
		require.Equal(t, x.want, of(t, list, needs.PatchTest).State, "%s %s", x.name, x.strength)
		require.Equal(t, x.want, of(t, list, needs.StrandTest).State, "%s %s", x.name, x.strength)
	}
	// What was positive with another product says nothing of this one.
	c := ready()
	c.PatchTests[0].Result = needs.Positive
	require.Equal(t, needs.Refused, of(t, listed(visit(straight), c), needs.PatchTest).State)
	c.PatchTests[0].ID = "1"
	firm := straight
	firm.Products = []needs.Product{{ID: "2", Name: "Firm Wave", Strength: "N"}}
	require.Equal(t, needs.Missing, of(t, listed(visit(firm), c), needs.PatchTest).State)
	// Two products are tested each, and two families.
	both := straight
	both.Products = []needs.Product{soft, {Name: "Firm Wave", Strength: "N"}}
	require.Equal(t, needs.Missing, of(t, listed(visit(both), ready()), needs.PatchTest).State)
	require.Equal(t, needs.Missing, of(t, listed(visit(straight, colour), ready()), needs.PatchTest).State)
}

func TestAReactionVoidsTestsAndConsultationsBeforeIt(t *testing.T) {
	c := ready()
	c.Reactions = []time.Time{ago(day)}
	list := listed(visit(straight), c)
	require.Equal(t, "consultation missing, patch_test missing, strand_test missing, consent done", states(list))
	c.Reactions = []time.Time{ago(20 * day)}
	require.Equal(t, "consultation done, patch_test done, consent done", states(listed(visit(straight), c)))
	c.Reactions = []time.Time{ago(5 * day), ago(20 * day)}
	require.Equal(t, "consultation missing, patch_test done, strand_test missing, consent done", states(listed(visit(straight), c)))
}

func TestAnUnclearTestCountsUntilALaterOneIsNegative(t *testing.T) {
	c := ready()
	unclear := c.PatchTests[0]
	unclear.PutOn, unclear.Result = ago(8*day), needs.Unclear
	c.PatchTests = append(c.PatchTests, unclear)
	require.Equal(t, needs.Done, of(t, listed(visit(straight), c), needs.PatchTest).State)
	c.PatchTests[1].PutOn = ago(3 * day)
	require.Equal(t, needs.Refused, of(t, listed(visit(straight), c), needs.PatchTest).State)
	c.PatchTests[1].PutOn, c.PatchTests[1].Result = ago(8*day), needs.Positive
	require.Equal(t, needs.Refused, of(t, listed(visit(straight), c), needs.PatchTest).State, "a later negative one does not undo a positive one")
}

func TestATestThatWaitsToBeReadChangesNothingYet(t *testing.T) {
	c := ready()
	waits := c.PatchTests[0]
	waits.PutOn, waits.Result = ago(3*day), needs.Unread
	c.PatchTests = append(c.PatchTests, waits)
	require.Equal(t, needs.Done, of(t, listed(visit(straight), c), needs.PatchTest).State)
	c.PatchTests[0].Result = needs.Unclear
	require.Equal(t, needs.Refused, of(t, listed(visit(straight), c), needs.PatchTest).State)
}

func TestTheConsultationIsJudgedByItsOutcome(t *testing.T) {
	first := date.New(2026, time.June, 12)
	for _, x := range []struct {
		name string
		c    needs.Consulted
		want needs.State
	}{
		{"clear", needs.Consulted{Made: ago(day), Outcome: needs.Clear}, needs.Done},
		{"ask", needs.Consulted{Made: ago(day), Outcome: needs.Ask}, needs.Waiting},
		{"do not book", needs.Consulted{Made: ago(day), Outcome: needs.DoNotBook}, needs.Refused},
		{"something new", needs.Consulted{Made: ago(day), Outcome: "perhaps"}, needs.Refused},
		{"nothing", needs.Consulted{Made: ago(day)}, needs.Refused},
		{"a year old", needs.Consulted{Made: ago(365 * day), Outcome: needs.Clear}, needs.Done},
		{"too old", needs.Consulted{Made: ago(366 * day), Outcome: needs.Clear}, needs.Missing},
		{"not before tomorrow", needs.Consulted{Made: ago(day), Outcome: needs.Clear, Earliest: &first}, needs.Waiting},
	} {
		c := ready()
		c.Consultation = &x.c
		require.Equal(t, x.want, of(t, listed(visit(straight), c), needs.Consultation).State, x.name)
	}
	// For a colour nobody asks for a consultation, but what one said counts.
	c := ready()
	c.Consultation.Outcome = needs.DoNotBook
	require.Equal(t, "consultation refused, patch_test missing, consent done", states(listed(visit(colour), c)))
	require.Empty(t, listed(visit(cut), c))
}

func TestAStrandTestIsNeededWhenTheConsultationDoesNotSayNo(t *testing.T) {
	made := func(r needs.Result, at time.Time) needs.Strand {
		return needs.Strand{Product: soft, Made: at, Result: r}
	}
	for _, x := range []struct {
		name  string
		asked bool
		tests []needs.Strand
		want  needs.State // "" when it is not listed
	}{
		{"not asked for", false, nil, ""},
		{"asked for", true, nil, needs.Missing},
		{"fine", true, []needs.Strand{made(needs.Fine, ago(day))}, needs.Done},
		{"fine long ago", true, []needs.Strand{made(needs.Fine, ago(91*day))}, needs.Missing},
		{"stretched too far", true, []needs.Strand{made(needs.Stretched, ago(day))}, needs.Waiting},
		{"snapped", true, []needs.Strand{made(needs.Snapped, ago(day))}, needs.Refused},
		{"snapped, not asked for", false, []needs.Strand{made(needs.Snapped, ago(day))}, needs.Refused},
		{"snapped, then fine on another strand", true, []needs.Strand{made(needs.Snapped, ago(2*day)), made(needs.Fine, ago(day))}, needs.Refused},
		{"snapped long ago", true, []needs.Strand{made(needs.Snapped, ago(900*day))}, needs.Refused},
		{"snapped, fine a season later", true, []needs.Strand{made(needs.Fine, ago(day)), made(needs.Snapped, ago(91*day))}, needs.Done},
		{"fine, then snapped", true, []needs.Strand{made(needs.Fine, ago(2*day)), made(needs.Snapped, ago(day))}, needs.Refused},
		{"stretched, then fine", true, []needs.Strand{made(needs.Stretched, ago(2*day)), made(needs.Fine, ago(day))}, needs.Done},
	} {
		c := ready()
		c.Consultation.StrandTest, c.StrandTests = x.asked, x.tests
		list := listed(visit(straight), c)
		if x.want == "" {
			require.NotContains(t, states(list), "strand_test", x.name)
			continue
		}
		require.Equal(t, x.want, of(t, list, needs.StrandTest).State, x.name)
	}
	c := ready()
	c.Consultation.StrandTest = false
	forNew := func(r *needs.Rules) { r.StrandTestForNew = true }
	require.Equal(t, needs.Missing, of(t, listed(visit(straight), c, forNew), needs.StrandTest).State)
	c.Treated = true
	require.NotContains(t, states(listed(visit(straight), c, forNew)), "strand_test")

	// A consultation asks about the past, not about damage that somebody saw.
	damaged := straight
	damaged.Damaged = true
	for _, outcome := range []needs.Outcome{needs.Clear, needs.Ask} {
		c.Consultation.Outcome = outcome
		require.Equal(t, needs.Missing, of(t, listed(visit(damaged), c), needs.StrandTest).State, outcome)
	}
	c.StrandTests = []needs.Strand{made(needs.Fine, ago(day))}
	require.Equal(t, needs.Done, of(t, listed(visit(damaged), c), needs.StrandTest).State)
	c.StrandTests = nil
	require.NotContains(t, states(listed(visit(damaged), c, func(r *needs.Rules) { r.StrandTestFor = needs.ForNothing })), "strand_test", "the salon asks for none")
}

func TestADepositIsNeededByItsDateButNotAfterTheStart(t *testing.T) {
	v := visit(cut)
	v.DepositOpen = true
	require.Equal(t, start, of(t, listed(v, needs.Client{}), needs.Deposit).Latest)
	by := ago(7 * day)
	v.DepositBy = &by
	require.Equal(t, by, of(t, listed(v, needs.Client{}), needs.Deposit).Latest)
	by = start.Add(day)
	require.Equal(t, start, of(t, listed(v, needs.Client{}), needs.Deposit).Latest)
}

func TestAMinorNeedsTheGuardianAndTheLicensedPerson(t *testing.T) {
	c := ready()
	c.Minor = true
	v := visit(straight)
	require.Equal(t, needs.Desk, of(t, listed(v, c), needs.Guardian).Owner, "no guardian is named")
	c.GuardianNamed = true
	require.Equal(t, needs.ByGuardian, of(t, listed(v, c), needs.Guardian).Owner)
	yes := ago(day)
	v.GuardianYes = &yes
	n := of(t, listed(v, c), needs.Guardian)
	require.Equal(t, needs.Waiting, n.State)
	require.Equal(t, needs.Licensed, n.Owner)
	v.ApprovedBy = "Ada"
	require.Equal(t, needs.Done, of(t, listed(v, c), needs.Guardian).State)
	v.GuardianYes = nil
	require.Equal(t, needs.Missing, of(t, listed(v, c), needs.Guardian).State)
	require.Empty(t, listed(visit(cut), c))
	everything := func(r *needs.Rules) { r.GuardianFor = needs.ForEverything }
	require.Equal(t, "guardian missing", states(listed(visit(cut), c, everything)))
}

func TestAnOverrideStandsInForWhatMayBeOverriddenOnly(t *testing.T) {
	rule := func(r *needs.Rules) { r.PatchTestOverride = true }
	v := visit(straight)
	v.DepositOpen = true
	minor := needs.Client{Minor: true}
	v.Overrides = said(listed(v, minor))
	require.Equal(t, "consultation overridden, patch_test missing, strand_test overridden, deposit overridden, guardian missing, consent missing", states(listed(v, minor)))
	require.Equal(t, "consultation overridden, patch_test overridden, strand_test overridden, deposit overridden, guardian missing, consent missing", states(listed(v, minor, rule)))

	c := ready()
	c.Consultation = &needs.Consulted{Made: ago(day), Outcome: needs.DoNotBook}
	c.PatchTests[0].Result = needs.Positive
	c.StrandTests = []needs.Strand{{Made: ago(day), Result: needs.Snapped}}
	v.Overrides = said(listed(v, c, rule))
	require.Equal(t, "consultation refused, patch_test refused, strand_test refused, deposit overridden, consent done", states(listed(v, c, rule)))
	c.Consultation.Outcome, c.PatchTests[0].Result, c.StrandTests[0].Result = needs.Ask, needs.Unclear, needs.Stretched
	c.Consultation.StrandTest = true
	v.Overrides = said(listed(v, c, rule))
	require.Equal(t, "consultation overridden, patch_test refused, strand_test overridden, deposit overridden, consent done", states(listed(v, c, rule)))
}

// said overrides all that is on a list.
func said(list []needs.Need) (out []needs.Override) {
	for _, n := range list {
		out = append(out, needs.Override{Kind: n.Kind, By: "Ada", At: ago(day), Basis: n.Basis})
	}
	return out
}

func TestAnOverrideCountsForWhatWasOnRecordWhenItWasSaid(t *testing.T) {
	rule := func(r *needs.Rules) { r.PatchTestOverride = true }
	for name, change := range map[string]func(*needs.Visit, *needs.Client) string{
		"nothing":                     func(*needs.Visit, *needs.Client) string { return "" },
		"an hour later":               func(v *needs.Visit, _ *needs.Client) string { v.Start = v.Start.Add(time.Hour); return "" },
		"another date of the deposit": func(v *needs.Visit, _ *needs.Client) string { v.DepositBy = new(v.Start); return "" },
		"months later": func(v *needs.Visit, _ *needs.Client) string {
			v.Start = v.Start.AddDate(0, 2, 0)
			return "consultation patch_test strand_test"
		},
		"another product": func(v *needs.Visit, _ *needs.Client) string {
			v.Services[0].Products = []needs.Product{{ID: "2", Name: "Firm Wave"}}
			return "consultation patch_test strand_test"
		},
		"a reaction, long ago": func(_ *needs.Visit, c *needs.Client) string {
			c.Reactions = append(c.Reactions, ago(400*day))
			return "consultation patch_test strand_test"
		},
		"a strand that stretched": func(_ *needs.Visit, c *needs.Client) string {
			c.StrandTests = append(c.StrandTests, needs.Strand{Product: soft, Made: ago(day), Result: needs.Stretched})
			return "strand_test"
		},
		"a skin test": func(_ *needs.Visit, c *needs.Client) string {
			c.PatchTests = append(c.PatchTests, needs.Patch{Product: soft, PutOn: ago(day)})
			return "patch_test"
		},
		"a consultation that asks": func(_ *needs.Visit, c *needs.Client) string {
			c.Consultation = &needs.Consulted{Made: ago(day), Outcome: needs.Ask, StrandTest: true}
			return "consultation strand_test"
		},
	} {
		v, c := visit(straight), needs.Client{}
		v.DepositOpen, v.Services = true, slices.Clone(v.Services)
		v.Overrides = said(listed(v, c, rule))
		open := strings.Fields(change(&v, &c))
		for _, n := range listed(v, c, rule) {
			if n.Kind != needs.Consent {
				require.Equal(t, slices.Contains(open, string(n.Kind)), n.Open(), "%s: %s %s", name, n.Kind, n.State)
			}
		}
	}
}

func TestWhatSpeaksAgainstCountsForAllThatItMayHaveBeenMadeWith(t *testing.T) {
	for _, x := range []struct {
		name   string
		test   needs.Product
		family string
		want   needs.State
	}{
		{"the same", needs.Product{ID: "1", Name: "Soft Wave", Strength: "N"}, "straightening", needs.Refused},
		{"renamed since", needs.Product{ID: "1", Name: "Old Wave", Strength: "1"}, "colour", needs.Refused},
		{"no strength", needs.Product{Name: "Soft Wave"}, "straightening", needs.Refused},
		{"no strength, another family", needs.Product{Name: "soft wave"}, "colour", needs.Refused},
		{"a slip of the pen", needs.Product{Name: "Sotf Wave", Strength: "N"}, "straightening", needs.Refused},
		{"a family that nobody knows", needs.Product{Name: "Wave", Strength: "N"}, "strait", needs.Refused},
		{"another strength", needs.Product{ID: "2", Name: "Soft Wave", Strength: "F"}, "straightening", needs.Missing},
		{"another product of the list", needs.Product{ID: "3", Name: "Firm Wave", Strength: "N"}, "straightening", needs.Missing},
		{"another family", needs.Product{Name: "Copper", Strength: "6"}, "colour", needs.Missing},
	} {
		v := visit(straight)
		v.Services = slices.Clone(v.Services)
		v.Services[0].Products = []needs.Product{{ID: "1", Name: "Soft Wave", Strength: "N"}}
		for _, result := range []needs.Result{needs.Positive, needs.Unclear} {
			c := ready()
			c.PatchTests = []needs.Patch{{Family: x.family, Product: x.test, PutOn: ago(9 * day), Read: ago(8 * day), Result: result}}
			n := of(t, listed(v, c), needs.PatchTest)
			require.Equal(t, x.want, n.State, "%s: %s", x.name, n.Why)
			c.Reactions = []time.Time{ago(7 * day)} // makes it no better
			require.Equal(t, x.want, of(t, listed(v, c), needs.PatchTest).State, x.name)
		}
		c := ready()
		c.PatchTests = []needs.Patch{{Family: "straightening", Product: x.test, PutOn: ago(9 * day), Read: ago(7 * day), Result: needs.Negative}}
		done := x.test.ID == "1"
		require.Equal(t, done, !of(t, listed(v, c), needs.PatchTest).Open(), "what speaks for it counts for its own product: %s", x.name)
	}
}

func TestRulesThatAskForNothingStillHearWhatSpeaksAgainst(t *testing.T) {
	v := visit(straight)
	v.DepositOpen = true
	require.Empty(t, needs.List(v, needs.Client{Minor: true}, needs.Nothing(), berlin))
	c := ready()
	c.PatchTests[0].Result = needs.Positive
	c.StrandTests = []needs.Strand{{Made: ago(day), Result: needs.Snapped}}
	c.Consultation.Outcome = needs.DoNotBook
	require.Equal(t, "consultation refused, patch_test refused, strand_test refused", states(needs.List(visit(straight), c, needs.Nothing(), berlin)))
}

func TestTestsThatNobodyCanReadAreMissingAndNobodyOverridesThat(t *testing.T) {
	v := visit(straight)
	rule := func(r *needs.Rules) { r.PatchTestOverride = true }
	v.Overrides = said(listed(v, needs.Client{Unreadable: true}, rule))
	require.Equal(t, "consultation overridden, patch_test missing, strand_test missing, consent missing", states(listed(v, needs.Client{Unreadable: true}, rule)))
}

func TestTheDefaultRulesAreValidAndEveryFaultIsNamed(t *testing.T) {
	require.NoError(t, needs.DefaultRules().Validate())
	require.NoError(t, needs.Nothing().Validate())
	err := needs.Rules{ConsultationFor: "x", ConsultationHours: -1, PatchTestHours: 169, PatchTestReadHours: 97, StrandTestHours: 337}.Validate()
	for _, field := range []string{"consultation_for", "consultation_hours", "consultation_valid_days", "patch_test_for", "patch_test_hours", "patch_test_valid_days",
		"patch_test_read_hours", "strand_test_for", "strand_test_hours", "strand_test_valid_days", "deposit_for", "guardian_for", "consent_for"} {
		require.ErrorContains(t, err, field+" is")
	}
}

func TestACorrectionNeedsAStrandTestMadeSinceWhatItCorrects(t *testing.T) {
	made := func(r needs.Result, at time.Time) []needs.Strand {
		return []needs.Strand{{Product: soft, Made: at, Result: r}}
	}
	for _, x := range []struct {
		name  string
		tests []needs.Strand
		want  needs.State
	}{
		{"none", nil, needs.Missing},
		{"one from before", made(needs.Fine, ago(11*day)), needs.Missing},
		{"one since then", made(needs.Fine, ago(9*day)), needs.Done},
		{"one that snapped", made(needs.Snapped, ago(9*day)), needs.Refused},
	} {
		c := ready()
		c.Consultation.StrandTest, c.StrandTests = false, x.tests
		v := visit(straight)
		v.Corrects = ago(10 * day)
		require.Equal(t, x.want, of(t, listed(v, c), needs.StrandTest).State, x.name)
	}
	v := visit(cut)
	v.Corrects = ago(10 * day)
	require.NotContains(t, states(listed(v, ready())), "strand_test", "nothing is put on")
}
