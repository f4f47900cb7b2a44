package screening_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling/screening"
)

// today is the day of the consultation.
var today = date.New(2026, time.June, 8)

// form is version 1 with a question of each outcome of a salon's own.
func form(t testing.TB) screening.Form {
	t.Helper()
	f, ok := screening.NewForm(3, 1, []screening.Own{{Text: "Is there glitter in it?", Level: screening.Ask}, {Text: "Is it a wig?", Level: screening.DoNotBook}})
	require.True(t, ok)
	return f
}

// plain are answers that lead to nothing.
func plain() map[string]string {
	return map[string]string{
		"straightened": "no", "relaxer": "no", "relaxer_planned": "no", "perm": "no", "bleach": "no", "colour": "no", "henna_metallic": "no",
		"smoothing": "no", "where_done": "nothing_done", "extensions": "no", "coating": "no", "deposit": "no",
		"reaction": "no", "allergies": "no", "sensitive_eyes": "no", "asthma": "no", "medicines": "no", "skin_trouble": "no", "sore_scalp": "no",
		"hair_loss": "no", "lice_ringworm": "no", "pregnancy": "no", "scratched": "no", "metal_on": "no",
		"swimming": "no", "heat": "no", "oils": "no", "last_wash": "2026-06-07", "keeps_dry": "myself", "wanted": "straight", "own_1": "no", "own_2": "no",
	}
}

func list(given map[string]string) []screening.Answer {
	var out []screening.Answer
	for _, id := range slices.Sorted(maps.Keys(given)) {
		out = append(out, screening.Answer{Question: id, Text: given[id]})
	}
	return out
}

// said are the plain answers with some changed; "-" leaves one out.
func said(change map[string]string) []screening.Answer {
	given := plain()
	for id, a := range change {
		if given[id] = a; a == "-" {
			delete(given, id)
		}
	}
	if c := given["colour"]; c != "no" && given["coloured_on"] == "" {
		given["coloured_on"] = "2025-01-01"
	}
	history := []string{"straightened", "relaxer", "perm", "bleach", "colour", "henna_metallic", "smoothing"}
	done := func(id string) bool { return given[id] != "no" && given[id] != "not_sure" }
	if _, asked := change["where_done"]; !asked && slices.ContainsFunc(history, done) {
		given["where_done"] = "salon"
	}
	return list(given)
}

// want is what one answer alone leads to, written down a second time.
type want struct {
	level  screening.Level
	code   string
	strand bool // needs a strand test
	lift   bool // may be lifted after one
	days   int  // until the first day that is allowed
}

const (
	clear = screening.Clear
	ask   = screening.Ask
	never = screening.DoNotBook
)

// yes is what both yes and not sure lead to, by question.
var yes = map[string]want{
	"relaxer":         {never, "hydroxide", true, true, 0},       // state-exam text
	"relaxer_planned": {never, "hydroxide_after", true, true, 0}, // state-exam text, the other direction
	"perm":            {ask, "perm", true, false, 0},             // J Soc Cosmet Chem 44(6) (1993)
	"bleach":          {ask, "bleach", true, false, 0},           // common practice
	"colour":          {ask, "colour", true, false, 0},           // common practice
	"henna_metallic":  {never, "metal_dye", false, false, 0},     // trade page
	"smoothing":       {ask, "smoothing", true, false, 0},        // agencies
	"extensions":      {ask, "extensions", false, false, 0},      // judgement from here on
	"coating":         {ask, "coating", true, false, 0},
	"deposit":         {ask, "deposit", true, false, 0},
	"reaction":        {ask, "reaction", false, false, 0},
	"allergies":       {ask, "allergies", false, false, 0},
	"sensitive_eyes":  {ask, "sensitive_eyes", false, false, 0},
	"asthma":          {ask, "asthma", false, false, 0},
	"medicines":       {ask, "medicines", false, false, 0},
	"skin_trouble":    {ask, "skin_trouble", false, false, 0},
	"sore_scalp":      {never, "sore_scalp", false, false, 0},
	"hair_loss":       {ask, "hair_loss", true, false, 0},
	"lice_ringworm":   {never, "rebook_kindly", false, false, 0},
	"pregnancy":       {ask, "pregnancy", false, false, 0}, // clinics' pages
	"scratched":       {ask, "scratched", false, false, 1},
	"metal_on":        {clear, "take_off", false, false, 0},
	"swimming":        {clear, "swimming", false, false, 0},
	"heat":            {clear, "heat", false, false, 0},
	"oils":            {clear, "oils", false, false, 0},
	"own_1":           {ask, "own_1", false, false, 0},
	"own_2":           {never, "own_2", false, false, 0},
}

// other is what answers of other kinds lead to, by question and answer.
var other = map[string]map[string]want{
	"straightened": {"no": {level: clear}, "here": {clear, "straightened_here", false, false, 0}, "elsewhere_known": {ask, "straightened_elsewhere", true, false, 0},
		"elsewhere_unknown": {never, "possible_hydroxide", true, true, 0}, "not_sure": {never, "possible_hydroxide", true, true, 0}},
	"where_done": {"nothing_done": {level: clear}, "salon": {level: clear}, "home": {ask, "box_product", true, false, 0},
		"both": {ask, "box_product", true, false, 0}, "not_sure": {ask, "box_product", true, false, 0}},
	"keeps_dry": {"myself": {level: clear}, "with_help": {level: clear}, "cannot": {ask, "not_dry", false, false, 0}, "not_sure": {ask, "not_dry", false, false, 0}},
	"last_wash": {"2026-06-08": {level: clear}, "2006-06-08": {level: clear}, "not_sure": {level: clear}},
	"wanted":    {"straight\nand long": {level: clear}, strings.Repeat("é", screening.MaxText): {level: clear}},
	"details":   {"": {level: clear}, "a product": {level: clear}},
}

// all is every answer that the tables know, with what it leads to.
func all() map[string]map[string]want {
	out := maps.Clone(other)
	for id, w := range yes {
		out[id] = map[string]want{"no": {level: clear}, "yes": w, "not_sure": w}
	}
	return out
}

func TestEveryAnswerToEveryQuestionLeadsToWhatItsRuleSays(t *testing.T) {
	f := form(t)
	table := all()
	for _, q := range f.Questions {
		if q.ID == "coloured_on" { // below
			continue
		}
		require.NotEmpty(t, table[q.ID], "say what the answers to %s lead to", q.ID)
		for answer, w := range table[q.ID] {
			t.Run(q.ID+" "+answer[:min(len(answer), 20)], func(t *testing.T) {
				o, err := screening.Judge(f, said(map[string]string{q.ID: answer}), today)
				require.NoError(t, err)
				i := slices.IndexFunc(o.Reasons, func(r screening.Reason) bool { return r.Question == q.ID })
				if w.code == "" {
					require.Equal(t, -1, i)
				} else {
					r := o.Reasons[i]
					got := want{r.Level, r.Code, r.StrandTest, r.Lift, daysOf(r.Earliest)}
					require.Equal(t, w, got)
					require.NotEmpty(t, r.Words)
					require.NotEmpty(t, r.Source)
				}
				require.Equal(t, w.level, o.Level)
				require.Equal(t, w.strand, o.StrandTest)
				require.Equal(t, w.lift, o.AfterStrandTest)
				require.Equal(t, w.days, daysOf(o.Earliest))
				require.Equal(t, q.ID == "lice_ringworm" && answer != "no", o.Rebook)
				require.Contains(t, o.Words(), "Nothing is approved by this form.", "even when it is clear")
			})
		}
	}
}

// daysOf is how many days after today d is, 0 for none.
func daysOf(d *date.Date) int {
	if d == nil {
		return 0
	}
	return int(d.Sub(today))
}

func TestColourSetsTheFirstDayFourteenDaysLater(t *testing.T) {
	f := form(t)
	for on, days := range map[string]int{"2026-06-08": 14, "2026-06-07": 13, "2026-05-26": 1, "2026-05-25": 0, "2025-06-08": 0, "not_sure": 14} {
		for _, c := range []string{"yes", "not_sure"} {
			o, err := screening.Judge(f, said(map[string]string{"colour": c, "coloured_on": on}), today)
			require.NoError(t, err)
			require.Equal(t, ask, o.Level)
			require.Equal(t, days, daysOf(o.Earliest), on)
			fresh := slices.ContainsFunc(o.Reasons, func(r screening.Reason) bool { return r.Code == "fresh_colour" })
			require.Equal(t, days > 0, fresh, on)
		}
	}
}

// TestManyAnswersTogetherLeadToTheStrictest compares with the tables above: the
// strictest level, every strand test, the last of the first days.
func TestManyAnswersTogetherLeadToTheStrictest(t *testing.T) {
	f, table := form(t), all()
	rank := map[screening.Level]int{clear: 0, ask: 1, never: 2}
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 0))
	for range 3000 {
		change := map[string]string{}
		for id, answers := range table {
			if r.IntN(8) == 0 {
				keys := slices.Sorted(maps.Keys(answers))
				change[id] = keys[r.IntN(len(keys))]
			}
		}
		if change["where_done"] == "nothing_done" {
			delete(change, "where_done")
		}
		answers := said(change)
		o, err := screening.Judge(f, answers, today)
		require.NoError(t, err, "seed %d: %v", seed, change)
		sum, final := want{level: clear}, false
		for _, a := range answers {
			w := table[a.Question][a.Text]
			if rank[w.level] > rank[sum.level] {
				sum.level = w.level
			}
			sum.strand = sum.strand || w.strand
			sum.days = max(sum.days, w.days)
			final = final || w.level == never && !w.lift
		}
		got := want{level: o.Level, strand: o.StrandTest, lift: o.AfterStrandTest, days: daysOf(o.Earliest)}
		sum.lift = sum.level == never && !final
		require.Equal(t, sum, got, "seed %d: %v", seed, change)
		milderNever(t, f, answers, o, r, fmt.Sprintf("seed %d: %v", seed, change))
	}
}

// milderNever says yes to one more question and looks whether anything got
// milder.
func milderNever(t *testing.T, f screening.Form, answers []screening.Answer, before screening.Outcome, r *rand.Rand, what string) {
	t.Helper()
	i := r.IntN(len(answers))
	if q, _ := f.Question(answers[i].Question); q.Kind != screening.YesNo || answers[i].Text != "no" {
		return
	}
	more := slices.Clone(answers)
	more[i].Text = []string{"yes", "not_sure"}[r.IntN(2)]
	if answers[i].Question == "colour" {
		more = append(more, screening.Answer{Question: "coloured_on", Text: []string{"not_sure", "2026-06-01", "2020-01-01"}[r.IntN(3)]})
	}
	for j, a := range more {
		if a.Question == "where_done" && a.Text == "nothing_done" {
			more[j].Text = "salon"
		}
	}
	o, err := screening.Judge(f, more, today)
	require.NoError(t, err, what)
	rank := map[screening.Level]int{clear: 0, ask: 1, never: 2}
	require.GreaterOrEqual(t, rank[o.Level], rank[before.Level], what)
	require.True(t, o.StrandTest || !before.StrandTest, what)
	require.True(t, o.Rebook || !before.Rebook, what)
	require.GreaterOrEqual(t, daysOf(o.Earliest), daysOf(before.Earliest), what)
	require.False(t, before.Level == never && !before.AfterStrandTest && o.AfterStrandTest, what)
	require.GreaterOrEqual(t, len(o.Reasons), len(before.Reasons), what)
}

func TestOutcomesAreSaidInWords(t *testing.T) {
	f := form(t)
	for change, wanted := range map[string]string{
		"heat": "Nothing in these answers speaks against booking.", "asthma": "The licensed person has to agree",
		"relaxer": "until a strand test was held", "sore_scalp": "Not to be booked for a service with chemicals.", "lice_ringworm": "Say it kindly",
	} {
		o, err := screening.Judge(f, said(map[string]string{change: "yes"}), today)
		require.NoError(t, err)
		require.Contains(t, o.Words(), wanted)
		require.Contains(t, o.Words(), screening.First)
	}
	o, err := screening.Judge(f, said(map[string]string{"pregnancy": "yes"}), today)
	require.NoError(t, err)
	require.Contains(t, o.Reasons[0].Words, "ask your clinician")
}
