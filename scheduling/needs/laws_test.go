package needs_test

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/needs"
)

// every calls f for each way to choose one of n[i] at each place.
func every(n []int, f func(pick []int)) {
	pick := make([]int, len(n))
	for {
		f(pick)
		i := 0
		for ; i < len(n); i++ {
			if pick[i]++; pick[i] < n[i] {
				break
			}
			pick[i] = 0
		}
		if i == len(n) {
			return
		}
	}
}

// TestEveryCombinationAgreesWithTheRulesWrittenAsOneTable walks through every
// combination of the facts and holds the state of each need against the rule,
// written down a second time in the words in which a salon would say it.
func TestEveryCombinationAgreesWithTheRulesWrittenAsOneTable(t *testing.T) {
	services := []needs.Service{cut, colour, straight, retouch}
	outcomes := []needs.Outcome{"none on record", needs.Clear, needs.Ask, needs.DoNotBook}
	patches := []needs.Result{"none on record", needs.Unread, needs.Negative, needs.Unclear, needs.Positive}
	strands := []needs.Result{"none on record", needs.Fine, needs.Stretched, needs.Snapped}
	count := 0
	// service, outcome, strand test wanted, patch, strand, deposit, minor,
	// guardian's yes, consent, overrides, the salon's written rule
	every([]int{4, 4, 2, 5, 4, 2, 2, 2, 2, 2, 2}, func(p []int) {
		count++
		service := services[p[0]]
		v, c, r := visit(service), needs.Client{GuardianNamed: true}, needs.DefaultRules()
		v.ApprovedBy = "Ada"
		if p[1] > 0 {
			c.Consultation = &needs.Consulted{Made: ago(3 * day), Outcome: outcomes[p[1]], StrandTest: p[2] == 1}
		}
		if p[3] > 0 {
			c.PatchTests = []needs.Patch{{PutOn: ago(3 * day), Read: ago(day), Result: patches[p[3]]}}
		}
		if p[4] > 0 {
			c.StrandTests = []needs.Strand{{Made: ago(3 * day), Result: strands[p[4]]}}
		}
		yes := ago(day)
		v.DepositOpen, c.Minor = p[5] == 1, p[6] == 1
		if p[7] == 1 {
			v.GuardianYes = &yes
		}
		if p[8] == 1 {
			c.Consent = &yes
		}
		r.PatchTestOverride = p[10] == 1
		if p[9] == 1 {
			v.Overrides = said(needs.List(v, c, r, berlin))
		}

		overridden := func(s string, may bool) string {
			if may && p[9] == 1 && s != "done" && s != "refused" {
				return "overridden"
			}
			return s
		}
		var want []string
		say := func(kind, state string) {
			if state != "" {
				want = append(want, kind+" "+state)
			}
		}
		chemical, long := service.Chemical, service.Aftercare
		switch {
		case chemical && p[1] == 3:
			say("consultation", "refused")
		case long:
			say("consultation", overridden([]string{"missing", "done", "waiting"}[p[1]], true))
		}
		switch {
		case chemical && p[3] >= 3:
			say("patch_test", "refused")
		case chemical:
			say("patch_test", overridden([]string{"missing", "waiting", "done"}[p[3]], p[10] == 1))
		}
		switch {
		case chemical && p[4] == 3:
			say("strand_test", "refused")
		case long && (p[1] == 0 || p[1] == 3 || p[2] == 1):
			say("strand_test", overridden([]string{"missing", "done", "waiting"}[p[4]], true))
		}
		if p[5] == 1 {
			say("deposit", overridden("missing", true))
		}
		if chemical && p[6] == 1 {
			say("guardian", []string{"missing", "done"}[p[7]])
		}
		if chemical {
			say("consent", []string{"missing", "done"}[p[8]])
		}
		require.Equal(t, strings.Join(want, ", "), states(needs.List(v, c, r, berlin)), "%v", p)
	})
	require.Equal(t, 40960, count)
}

// good are facts that speak for a visit, each as a change to what is on record.
// Overrides are none: they are said of what is on record, and again with more.
var good = []func(*needs.Visit, *needs.Client){
	func(_ *needs.Visit, c *needs.Client) {
		if c.Consultation == nil {
			c.Consultation = &needs.Consulted{Made: ago(day), Outcome: needs.Clear, StrandTest: true}
		}
	},
	func(_ *needs.Visit, c *needs.Client) {
		if c.Consultation == nil {
			c.Consultation = &needs.Consulted{Made: ago(day), Outcome: needs.Clear}
		}
	},
	func(_ *needs.Visit, c *needs.Client) {
		c.PatchTests = append(c.PatchTests, needs.Patch{PutOn: ago(5 * day), Read: ago(2 * day), Result: needs.Negative, Product: soft})
	},
	func(_ *needs.Visit, c *needs.Client) {
		c.PatchTests = append(c.PatchTests, needs.Patch{Family: scheduling.FamilyColour, PutOn: ago(day)})
	},
	func(_ *needs.Visit, c *needs.Client) {
		c.PatchTests = append(c.PatchTests, needs.Patch{PutOn: ago(500 * day), Read: ago(490 * day), Result: needs.Negative})
	},
	func(_ *needs.Visit, c *needs.Client) {
		c.StrandTests = append(c.StrandTests, needs.Strand{Made: ago(day), Result: needs.Fine})
	},
	func(_ *needs.Visit, c *needs.Client) {
		c.StrandTests = append(c.StrandTests, needs.Strand{Made: ago(200 * day), Result: needs.Fine, Product: needs.Product{Name: "Firm Wave"}})
	},
	func(v *needs.Visit, _ *needs.Client) { v.DepositOpen = false },
	func(v *needs.Visit, _ *needs.Client) { yes := ago(day); v.GuardianYes = &yes },
	func(_ *needs.Visit, c *needs.Client) { c.GuardianNamed = true },
	func(v *needs.Visit, _ *needs.Client) { v.ApprovedBy = "Ada" },
	func(_ *needs.Visit, c *needs.Client) { yes := ago(day); c.Consent = &yes },
	func(_ *needs.Visit, c *needs.Client) { c.Treated = true },
}

// bad are facts that speak against it.
var bad = []func(*needs.Visit, *needs.Client){
	func(_ *needs.Visit, c *needs.Client) {
		c.PatchTests = append(c.PatchTests, needs.Patch{PutOn: ago(9 * day), Read: ago(8 * day), Result: needs.Positive})
	},
	func(_ *needs.Visit, c *needs.Client) {
		c.StrandTests = append(c.StrandTests, needs.Strand{Made: ago(2 * day), Result: needs.Snapped})
	},
	func(_ *needs.Visit, c *needs.Client) {
		c.Consultation = &needs.Consulted{Made: ago(day), Outcome: needs.DoNotBook}
	},
	func(_ *needs.Visit, c *needs.Client) { c.Reactions = append(c.Reactions, ago(3*day)) },
	func(_ *needs.Visit, c *needs.Client) { c.Minor = true },
	func(v *needs.Visit, _ *needs.Client) { v.DepositOpen = true },
}

func open(list []needs.Need) (out []needs.Kind) {
	for _, n := range list {
		if n.Open() {
			out = append(out, n.Kind)
		}
	}
	return out
}

func TestMoreFactsNeverAddNeedsAndWhatSpeaksAgainstNeverTakesOneAway(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 0))
	services := []needs.Service{cut, colour, straight, retouch}
	for range 20000 {
		v, c := visit(services[r.IntN(4)]), needs.Client{}
		if r.IntN(2) == 0 {
			v.Services = append(v.Services, services[r.IntN(4)])
		}
		rules := needs.DefaultRules()
		if r.IntN(2) == 0 {
			rules.PatchTestOverride, rules.StrandTestForNew = true, true
			for i := range v.Services {
				v.Services[i].Products = []needs.Product{soft}
			}
		}
		for range r.IntN(12) {
			before := needs.List(v, c, rules, berlin)
			against := r.IntN(4) == 0
			if against {
				bad[r.IntN(len(bad))](&v, &c)
			} else {
				good[r.IntN(len(good))](&v, &c)
			}
			after := needs.List(v, c, rules, berlin)
			for _, k := range open(after) {
				if !against && !slices.Contains(open(before), k) {
					t.Fatalf("seed %d: a good fact added %s: %s, then %s", seed, k, states(before), states(after))
				}
			}
			for _, k := range open(before) {
				if against && !slices.Contains(open(after), k) {
					t.Fatalf("seed %d: what speaks against took %s away: %s, then %s", seed, k, states(before), states(after))
				}
			}
		}
	}
}

func TestNobodyHearsOfHealthFromWords(t *testing.T) {
	at := func(t time.Time) string { return t.Format("Mon 15:04") }
	every([]int{6, 5, 2}, func(p []int) {
		state := []needs.State{needs.Missing, needs.Waiting, needs.Done, needs.Overridden, needs.Refused}[p[1]]
		n := needs.Need{Kind: needs.Kinds()[p[0]], State: state, Owner: []needs.Owner{needs.Stylist, needs.Licensed}[p[2]], Latest: start}
		said := n.Words() + " " + n.Right(at)
		for _, word := range []string{"positive", "snap", "stretch", "react", "unclear", "allerg", "pregnan", "ill"} {
			require.NotContains(t, strings.ReplaceAll(said, "until", ""), word)
		}
		require.NotEmpty(t, n.Words())
		if state == needs.Refused && p[0] < 3 {
			require.Equal(t, "ask the stylist", n.Words())
		}
	})
}

func TestOverdueIsWhatIsOpenAfterItsLatestTime(t *testing.T) {
	n := of(t, listed(visit(straight), needs.Client{}), needs.PatchTest)
	require.False(t, n.Overdue(n.Latest))
	require.True(t, n.Overdue(n.Latest.Add(time.Second)))
	n.State = needs.Overridden
	require.False(t, n.Overdue(start))
}
