package pages

import (
	"errors"
	"io"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

// filledForm is the form for 35 cm of medium hair.
func filledForm() BookPage {
	return BookPage{
		Salon: "Corner Salon", BoardHref: "/board", Location: london, PhoneQuestions: true,
		Matches:  []ClientMatch{{ID: "c1", Name: "Abeo K.", Phone: "0018", Last: "9 June 2026"}, {ID: "c2", Name: "Mira R.", Next: "Thu 11 June 09:00"}},
		Services: []ServiceOption{{"s1", "Straightening", true}, {"s2", "Cut", false}},
		Stylists: []Option{{"p1", "Ada"}, {"p2", "Bo"}},
		Fields: BookFields{
			FirstName: "Abeo", Initial: "K", Phone: "+44 20 7946 0000", Mail: "a@example.org", Preferred: "call",
			Service: "s1", Stylist: "p1", DateFrom: "2026-06-11",
			Length: "35", Density: "medium", Strand: "medium", Porosity: "normal", Curl: "wavy",
			NewClient: true, Regrowth: "0", Sections: "4", Plate: "3", Hands: "1", Batches: "1",
		},
	}
}

// estimated is filledForm with the estimate that belongs to it: minutes as in
// the booked timeline, working as the chair-time model says it.
func estimated() BookPage {
	p := filledForm()
	p.Step, p.Quote = StepEstimate, "q1"
	p.Estimate = &EstimateView{
		Service: "Straightening", KeepMinutes: 270, MeanMinutes: 231.1, OutOfTen: 8, Price: "€ 180", FirstSectionMinutes: 46, Bookable: true,
		FirstSectionWorking: "30 applying + 15 processing + 1 walk to the basin = 46 min", Chemical: true,
		Lines: []EstimateLine{
			{"consultation", 15.4, 18, "15 min for a first visit"}, {"wash", 9.4, 11, "8 + 0.05 × 35 cm"}, {"prepare", 8.6, 10, "2 + 4 sections + 0.08 × 35 cm"},
			{"apply", 25.7, 30, "96 strips × (15 s + 1.5 s × 32.5 cm)"}, {"process", 12.8, 15, "normal: 15 min, watched"},
			{"rinse", 8.6, 10, "5 + 0.10 × 35 cm"}, {"dry", 12.8, 15, "3 + 116 g of hair"}, {"iron", 78.7, 92, "88 panels × (20 s + 13 presses × 2.5 s)"},
			{"neutralize", 15.4, 18, "24 strips × 4 sections"}, {"neutralizer working", 4.3, 5, "the maker’s figure"}, {"rinse", 6.8, 8, "4 + 0.08 × 35 cm"},
			{"dry", 14.5, 17, "3 + 116 g of hair"}, {"finish", 12.8, 15, "panels 2.5 × 8 cm"}, {"aftercare and pay", 5.1, 6, "5 min"},
		},
		Why: []CountLine{{"hairs on the treated part of the scalp", "520 cm² × 190 hairs per cm² = 98800"}, {"to book", "262 min, rounded up to a multiple of 15 min = 270 min"}},
		Cautions: []Caution{
			{Level: CautionWarn, Text: "Product is on the first section for 45 min; look from the tenth minute on."},
			{Level: CautionNeedsYes, Text: "Coloured in the last three years."},
			{Level: "from the future", Text: "Something new."},
		},
		Plans: []PlanView{
			{1, 1, "alone, one batch: 4½ hours, product on first section 45 min", true},
			{1, 2, "alone, 2 batches: 4¾ hours, product on first section 30 min", false},
			{2, 1, "with a helper: 3¼ hours, product on first section 30 min", false},
		},
		StillNeeded: []string{"patch test, read by Ada until Tue 9 June", "deposit of € 40 until Fri 5 June 12:00"},
	}
	return p
}

func withOpenings() BookPage {
	p := estimated()
	p.Step = StepOpenings
	p.Openings = []OpeningView{
		{ID: "o-1", Key: "k1", Start: on11June(9, 0), End: on11June(13, 30), DryUntil: ptr(on11June(13, 30).Add(48 * time.Hour)), With: "Ada", Chair: "chair 1", Waiting: 15, Why: "leaves the afternoon free for two colours"},
		{ID: "o-2", Key: "k2", Start: on11June(13, 30), End: on11June(18, 0), With: "Bo", Chair: "chair 2"},
	}
	return p
}

func booked() BookPage {
	p := withOpenings()
	p.Step = StepBooked
	p.Booked = &BookedView{
		Client: "Abeo K.", Service: "Straightening", Start: on11June(9, 0), End: on11June(13, 30), DryUntil: ptr(on11June(13, 30).Add(48 * time.Hour)),
		With: "Ada", Chair: "chair 1", Price: "€ 180", VisitHref: "/visits/1",
		StillNeeded: []string{"patch test, read by Ada until Tue 9 June"},
		Messages: []MessageDue{
			{on11June(9, 0).Add(-48 * time.Hour), "call", "how to prepare; asks for a yes"},
			{on11June(13, 30).Add(48 * time.Hour), "call", "the hair may get wet again"},
		},
	}
	return p
}

// values reads back what a browser would post from page if nothing were
// touched: inputs, ticked boxes and chosen entries.
func values(page string) url.Values {
	v := url.Values{}
	attr := func(tag, name string) string {
		m := regexp.MustCompile(` ` + name + `="([^"]*)"`).FindStringSubmatch(tag)
		if m == nil {
			return ""
		}
		return unescape.Replace(m[1])
	}
	for _, tag := range regexp.MustCompile(`<input [^>]*>`).FindAllString(page, -1) {
		if kind := attr(tag, "type"); (kind == "checkbox" || kind == "radio") && !strings.Contains(tag, " checked") {
			continue
		}
		v.Add(attr(tag, "name"), attr(tag, "value"))
	}
	for _, m := range regexp.MustCompile(`(?s)<select ([^>]*)>(.*?)</select>`).FindAllStringSubmatch(page, -1) {
		if o := regexp.MustCompile(`<option [^>]*selected[^>]*>`).FindString(m[2]); o != "" {
			v.Add(attr(" "+m[1], "name"), attr(o, "value"))
		}
	}
	return v
}

var unescape = strings.NewReplacer("&#43;", "+", "&#34;", `"`, "&#39;", "'", "&lt;", "<", "&gt;", ">", "&amp;", "&")

func TestEverythingTypedIsKeptAtEveryStep(t *testing.T) {
	for name, p := range map[string]BookPage{"form": filledForm(), "estimate": estimated(), "openings": withOpenings(), "pencilled": pencilled()} {
		t.Run(name, func(t *testing.T) {
			p.Fields.Damaged = true
			p.Fields.Reach, p.Fields.Ponytail, p.Fields.History = "shoulder", "average", []string{"coloured", "not_sure"}
			p.Fields.FirstName, p.Fields.ApprovedBy = `O'Neil "<&+`, "Ada & Bo"
			v := values(string(bookPage(t, p)))
			require.Equal(t, p.Fields, ReadBookFields(v))
		})
	}
}

func TestAValueThatNoListHasIsKept(t *testing.T) {
	p := filledForm()
	p.Fields.Stylist, p.Fields.Client, p.Fields.Density = "gone", "merged", "thick"
	v := values(string(bookPage(t, p)))
	require.Equal(t, "gone", v.Get(FieldStylist))
	require.Equal(t, "merged", v.Get(FieldClient))
	require.Equal(t, "thick", v.Get(FieldDensity))
}

func TestThePageGrowsStepByStep(t *testing.T) {
	form, est := string(bookPage(t, filledForm())), string(bookPage(t, estimated()))
	open, done := string(bookPage(t, withOpenings())), string(bookPage(t, booked()))
	require.Contains(t, form, "Work out the time")
	lacks(t, form, "How it adds up")
	require.Contains(t, est, "We keep 4½ hours.")
	require.Contains(t, est, "8 of 10 end within that time.")
	require.Contains(t, est, "Product on first section: 30 applying &#43; 15 processing &#43; 1 walk to the basin = 46 min.")
	require.Contains(t, est, "Booked is expected plus its share of the spare time that makes 8 of 10 visits end in time.")
	require.Contains(t, est, `<td class="n">270</td><td></td>`)
	require.Contains(t, est, "88 panels × (20 s &#43; 13 presses × 2.5 s)")
	require.Contains(t, est, "<b>Take care:</b>")
	require.Equal(t, 2, strings.Count(est, "<b>Needs the licensed person&#39;s yes:</b>"), "an unknown level is never taken lightly")
	require.Contains(t, est, `value="plan:1/2"`)
	lacks(t, est, "Times that fit")
	require.Contains(t, open, "Thu 11 June 09:00 with Ada, chair 1, ends 13:30; dry and untied until Sat 13:30: does that suit?")
	require.Contains(t, open, `<button name="do" value="book:o-1">`)
	require.Contains(t, open, `<input type="hidden" name="key_o-1" value="k1">`)
	require.Contains(t, open, "Thu 11 June 13:30 with Bo, chair 2, ends 18:00 <small>4½ hours</small>")
	require.Contains(t, open, "<small>4½ hours, 15 min of it waiting; leaves the afternoon free for two colours</small>")
	require.Less(t, strings.Index(open, "A press books at once."), strings.Index(open, "book:o-1"))
	lacks(t, done, "<form")
	require.Contains(t, done, "Tue 9 June 09:00")
	require.Contains(t, done, `<a href="/board">Day board</a>`)
	require.Contains(t, done, `<a href="/book">Book another visit</a>`)
}

func TestOnlyTheNewestPartTakesTheFocus(t *testing.T) {
	withError := withOpenings()
	withError.Errors = []FieldError{{"length_cm", "is 7; expected 8 to 120 cm"}}
	for name, tt := range map[string]struct {
		page BookPage
		want string // what stands before autofocus
	}{
		"estimate": {estimated(), `id="estimate" tabindex="-1" autofocus`},
		"openings": {withOpenings(), `id="openings" tabindex="-1" autofocus`},
		"booked":   {booked(), `<h2 tabindex="-1" autofocus`},
		"pencil":   {pencilled(), `id="pencilled" tabindex="-1" autofocus`},
		"error":    {withError, `role="alert" tabindex="-1" autofocus`},
	} {
		out := string(bookPage(t, tt.page))
		require.Equal(t, 1, strings.Count(out, "autofocus"), name)
		require.Contains(t, out, tt.want, name)
	}
	require.Contains(t, string(bookPage(t, filledForm())), `aria-describedby="h-who" autofocus>`)
	found := filledForm()
	found.MatchWords = "2 clients found."
	require.Contains(t, string(bookPage(t, found)), `value="c1" class="known" autofocus>`)
}

func TestErrorsStandBesideTheirFieldAndInASummary(t *testing.T) {
	p := filledForm()
	p.Errors = []FieldError{{"steps[2].minutes", "is 0"}, {"head.length_cm", "is 7; expected 8 to 120 cm"}, {"first_name", "is missing"}}
	out := string(bookPage(t, p))
	require.Contains(t, out, "3 things to put right")
	require.Contains(t, out, `<a href="#f-first_name">First name: is missing</a>`)
	require.Contains(t, out, `<a href="#f-length_cm">Length, cm: is 7; expected 8 to 120 cm</a>`)
	require.Contains(t, out, `<li>steps[2].minutes is 0</li>`)
	require.Less(t, strings.Index(out, "First name: is missing"), strings.Index(out, "Length, cm: is 7"), "in the order of the form")
	require.Contains(t, out, `aria-describedby="h-length_cm e-length_cm" aria-invalid="true"`)
	require.Contains(t, out, `<span class="error" id="e-length_cm">is 7; expected 8 to 120 cm</span>`)
	for _, m := range regexp.MustCompile(`href="#([^"]+)"`).FindAllStringSubmatch(out, -1) {
		require.Contains(t, out, `id="`+m[1]+`"`)
	}
}

func TestAFoldedQuestionOpensWhenItHasAnErrorOrAnAnswer(t *testing.T) {
	p := filledForm()
	out := string(bookPage(t, p))
	lacks(t, out, "<details open>")
	require.Less(t, strings.Index(out, "f-length_cm"), strings.Index(out, "f-reach"), "what was measured goes first")
	p.Errors = []FieldError{{"reach", "is unknown"}}
	require.Contains(t, string(bookPage(t, p)), "<details open>")
	p.Errors, p.Fields.Ponytail = nil, "little"
	require.Contains(t, string(bookPage(t, p)), "<details open>")
	p.PhoneQuestions = false
	lacks(t, string(bookPage(t, p)), "<details")
	p = filledForm()
	p.Fields.Length, p.Fields.Density, p.Fields.Strand, p.Fields.Porosity, p.Fields.Curl, p.Fields.Regrowth = "", "", "", "", "", ""
	out = string(bookPage(t, p))
	require.Less(t, strings.Index(out, "f-reach"), strings.Index(out, "f-length_cm"), "a stranger is asked the three questions")
	lacks(t, out, "<details open>")
	p.Errors = []FieldError{{"sections", "is 9"}}
	require.Contains(t, string(bookPage(t, p)), "<details open>")
}

func TestARefusedPlanOffersNoTimes(t *testing.T) {
	p := estimated()
	p.Estimate.Bookable = false
	p.Estimate.Cautions = []Caution{{Level: CautionRefuse, Text: "Product would be on the first section for 65 min."}}
	out := string(bookPage(t, p))
	require.Contains(t, out, "<b>Not to be booked:</b>")
	require.Contains(t, out, "No times are offered for this plan.")
	require.Equal(t, 1, strings.Count(out, `value="openings"`), "once the form has changed")
}

func TestWhoSaidYesIsAskedWhenACautionNeedsIt(t *testing.T) {
	p := estimated()
	p.Fields.ApprovedBy = "Ada"
	p.Errors = []FieldError{{"approved_by", "is too long"}}
	out := string(bookPage(t, p))
	require.Contains(t, out, `<label for="f-approved_by">Licensed person who said yes</label>`)
	require.Contains(t, out, `<a href="#f-approved_by">Licensed person who said yes: is too long</a>`)
	require.Contains(t, out, `<span class="error" id="e-approved_by">is too long</span>`)
	require.Equal(t, []string{"Ada"}, values(out)[FieldApprovedBy], "a name that is not in the list is kept")
	require.Contains(t, out, `<select id="f-approved_by"`)
	require.Contains(t, out, `<option value="p1">Ada</option>`)

	p.Estimate.Cautions, p.Errors = p.Estimate.Cautions[:1], nil
	p.Errors = []FieldError{{"approved_by", "choose who said yes"}}
	require.Contains(t, string(bookPage(t, p)), `<select id="f-approved_by"`, "asked when a booking lacked it")

	p.Errors = nil
	out = string(bookPage(t, p))
	lacks(t, out, "said yes")
	require.Equal(t, []string{"Ada"}, values(out)[FieldApprovedBy], "what was typed is carried along")
}

func TestAPhoneEstimateIsARange(t *testing.T) {
	p := estimated()
	p.Estimate.FromMinutes, p.Estimate.ToMinutes, p.Estimate.KeepMinutes = 195, 255, 270
	require.Contains(t, string(bookPage(t, p)), "Between 3¼ hours and 4¼ hours; we keep 4½ hours. Firm after the consultation.")
}

func TestNoOpeningsAreSaidKindly(t *testing.T) {
	p := withOpenings()
	p.Openings = nil
	require.Contains(t, string(bookPage(t, p)), "Nothing fits in the days searched.")
	p.NoOpenings = "Ada is away until Monday."
	require.Contains(t, string(bookPage(t, p)), "Ada is away until Monday.")
}

func TestWhyNoMessageGoesOutIsSaid(t *testing.T) {
	p := booked()
	p.Booked.Messages = nil
	require.Contains(t, string(bookPage(t, p)), "<p>No message goes out.</p>")
	p.Booked.NoMessages = "none are wished for"
	require.Contains(t, string(bookPage(t, p)), "<p>No message goes out: none are wished for.</p>")
}

func TestHostileWordsStayTextOnTheBookingPage(t *testing.T) {
	for _, s := range hostile {
		p := withOpenings()
		p.Salon, p.Quote, p.Quoted, p.QuoteKey, p.QuoteWords = s, s, s, s, s
		p.Matches, p.MatchWords = []ClientMatch{{s, s, s, s, s}}, s
		p.Beside = &BesideView{ID: s, Href: "/visits/1", Who: s, With: s, Start: on11June(9, 0), End: on11June(10, 0), Fixed: s}
		p.Fields.How, p.Fields.Together = s, s
		p.Services, p.Stylists = []ServiceOption{{s, s, true}}, []Option{{s, s}}
		f := &p.Fields
		for _, v := range []*string{&f.FirstName, &f.Who, &f.Note, &f.Sought, &f.Initial, &f.Phone, &f.Mail, &f.Client, &f.Service, &f.Stylist, &f.DateFrom, &f.Length, &f.Density, &f.Batches} {
			*v = s
		}
		p.Errors = []FieldError{{s, s}, {"length_cm", s}}
		p.Estimate.Lines = []EstimateLine{{s, 1, 1, s}}
		p.Estimate.Cautions = []Caution{{Level: CautionLevel(s), Text: s}}
		p.Openings[0].With, p.Openings[0].Key, p.Openings[0].Why = s, s, s
		p.Step = StepOpenings
		for _, out := range []string{string(bookPage(t, p)), string(bookPage(t, func() BookPage {
			q := booked()
			q.Booked.ComeWith, q.Booked.Together = s, s
			q.Booked.Client, q.Booked.Messages[0].What = s, s
			return q
		}()))} {
			out = strings.ReplaceAll(out, `<script src="/assets/`, "") // the page's own
			for _, bad := range []string{"<script", "<img", "<style", "<!--", " style=", " onmouseover='"} {
				lacks(t, out, bad)
			}
		}
	}
}

func TestLinksAndIdsThatCannotBeWrittenAreRefused(t *testing.T) {
	for field, change := range map[string]func(*BookPage){
		"board_href":        func(p *BookPage) { p.BoardHref = "https://example.org" },
		"action":            func(p *BookPage) { p.Action = "javascript:alert(1)" },
		"booked.visit_href": func(p *BookPage) { p.Booked = &BookedView{VisitHref: "//x"} },
		"openings[1].id":    func(p *BookPage) { p.Openings[1].ID = "a b" },
	} {
		p := withOpenings()
		change(&p)
		faults, ok := errors.AsType[scheduling.Faults](RenderBook(io.Discard, p))
		require.True(t, ok, field)
		require.Equal(t, field, faults[0].Field)
	}
}

func TestActionsSurviveTheForm(t *testing.T) {
	for _, a := range []Action{
		{Kind: ActEstimate}, {Kind: ActOpenings}, {Kind: ActPlan, Hands: 2, Batches: 3}, {Kind: ActBook, Opening: "o-1.x~_"},
		{Kind: ActNext}, {Kind: ActFind}, {Kind: ActAdd}, {Kind: ActMore}, {Kind: ActLater, Date: "2026-06-11"}, {Kind: ActOnly, Lead: "p1"}, {Kind: ActOnly},
		{Kind: ActConsult, Opening: "o-1"}, {Kind: ActPencil, Opening: "o-1"}, {Kind: ActFirm}, {Kind: ActLonger}, {Kind: ActGiveUp},
	} {
		got, ok := ParseAction(a.value())
		require.True(t, ok)
		require.Equal(t, a, got)
	}
	for _, s := range []string{"", "dance", "estimate:1", "plan", "plan:", "plan:1", "plan:0/1", "plan:1/x", "plan:1/2/3", "book", "book:", "pencil", "pencil:", "firm:1", "give_up:", "later:", "only", "next:1", "consult:"} {
		_, ok := ParseAction(s)
		require.False(t, ok, s)
	}
}

func TestOnlyOneRealFieldPerName(t *testing.T) {
	for _, p := range []BookPage{withOpenings(), pencilled()} {
		seen := map[string]bool{}
		for _, m := range regexp.MustCompile(` id="([^"]+)"`).FindAllStringSubmatch(string(bookPage(t, p)), -1) {
			require.False(t, seen[m[1]], "id %s stands twice", m[1])
			seen[m[1]] = true
		}
	}
}

func TestNoWordOfThePageIsAWordThatASalonWouldMisread(t *testing.T) {
	for _, p := range []BookPage{filledForm(), estimated(), withOpenings(), pencilled(), booked()} {
		out := strings.ToLower(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(string(bookPage(t, p)), " "))
		for _, bad := range []string{"recipe", "formula", "low porosity", "high porosity", "density", "strand ", "quantile", "p80", "exposure", "plate depth", "dwell", "lead ", "station"} {
			lacks(t, out, bad)
		}
	}
}

type brokenWriter struct{}

func (brokenWriter) Write([]byte) (int, error) { return 0, errGone }

var errGone = errors.New("gone")

func TestAWriterThatFailsIsReported(t *testing.T) {
	require.ErrorIs(t, RenderBook(brokenWriter{}, filledForm()), errGone)
	require.ErrorIs(t, RenderBoard(brokenWriter{}, straighteningBoard()), errGone)
	require.ErrorIs(t, RenderMessage(brokenWriter{}, Frame{Title: "a"}, "b"), errGone)
}

func TestAMessageIsText(t *testing.T) {
	var b strings.Builder
	require.NoError(t, RenderMessage(&b, Frame{Title: "Link expired"}, `Ask the salon for a new one. <b>&`))
	require.Contains(t, b.String(), "<title>Link expired</title>")
	require.Contains(t, b.String(), "Ask the salon for a new one. &lt;b&gt;&amp;")
}

func BenchmarkRenderBook(b *testing.B) {
	p := withOpenings()
	b.ReportAllocs()
	for b.Loop() {
		if err := RenderBook(io.Discard, p); err != nil {
			b.Fatal(err)
		}
	}
}

func TestSomebodyComesAlong(t *testing.T) {
	p := withOpenings()
	out := string(bookPage(t, p))
	require.Contains(t, out, "Somebody comes with her")
	p.Fields.Together = "side_by_side"
	require.Equal(t, "side_by_side", ReadBookFields(values(string(bookPage(t, p)))).Together)
	p.Step, p.Estimate, p.Openings = StepForm, nil, nil
	require.Equal(t, "side_by_side", ReadBookFields(values(string(bookPage(t, p)))).Together, "it is kept while the form is corrected")
	p = withOpenings()
	p.Beside = &BesideView{ID: "v1", Href: "/visits/v1", Who: "Juna K.", With: "Ada", Start: on11June(9, 0), End: on11June(10, 0)}
	p.Fields.How = "one_after_other"
	out = string(bookPage(t, p))
	lacks(t, out, "Somebody comes with her")
	lacks(t, out, `name="date_from"`)
	f := ReadBookFields(values(out))
	require.Equal(t, []string{"v1", "one_after_other"}, []string{f.With, f.How})
	p.Beside.Href = "//elsewhere.example"
	require.Error(t, RenderBook(io.Discard, p))
	q := booked()
	lacks(t, string(bookPage(t, q)), "comes")
	q.Booked.ComeWith = "v1"
	require.Contains(t, string(bookPage(t, q)), `href="/book?how=side_by_side&amp;with=v1">side by side`)
	q.Booked.How = "arrive_together"
	lacks(t, string(bookPage(t, q)), "side by side")
}
