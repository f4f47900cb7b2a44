package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/alecthomas/kong"

	"chairblock/api"
	"chairblock/scheduling"
	"chairblock/scheduling/pace"
	"chairblock/store"
)

// PaceCmd says how promises were kept and how quickly people work, from a file
// of records or from a salon's own.
type PaceCmd struct {
	File   string `short:"f" placeholder:"FILE" help:"Read records from JSON of schema pace/1 or from CSV; - is standard input. No database is needed."`
	JSON   bool   `help:"Answer in JSON, as GET /v1/reports/pace does."`
	Staff  string `placeholder:"NAME" help:"Only this person, by name or id."`
	Months int    `default:"12" help:"With a database: how many months back, 1 to 36."`
	Database
}

// Run answers on out.
func (c *PaceCmd) Run(in io.Reader, out io.Writer, parsed *kong.Context) error {
	if c.Months < 1 || c.Months > 36 {
		return &scheduling.InvalidError{Field: "--months", Problem: fmt.Sprintf("is %d", c.Months), Want: "1 to 36"}
	}
	var report api.PaceReportBody
	var err error
	if c.File != "" && onCommandLine(parsed, "database-url") {
		return usagef("--file and --database-url do not go together")
	}
	if c.File != "" {
		report, err = c.ofFile(in)
	} else {
		report, err = c.ofSalon(out)
	}
	if err != nil {
		return err
	}
	if c.JSON {
		return writeJSON(out, report)
	}
	return writePaceReport(out, report)
}

// ofFile works out a file, without a database.
func (c *PaceCmd) ofFile(in io.Reader) (api.PaceReportBody, error) {
	if c.File != "-" {
		f, err := os.Open(c.File)
		if err != nil {
			return api.PaceReportBody{}, usagef("%v", err)
		}
		defer f.Close()
		in = f
	}
	records, err := pace.Read(in)
	if err != nil {
		return api.PaceReportBody{}, err
	}
	fit, err := pace.Fitter{Settings: records.Settings}.Fit(records.Observations, records.AsOf)
	if err != nil {
		return api.PaceReportBody{}, err
	}
	promises := records.Promises
	if c.Staff != "" {
		id, ok := c.person(fit, records)
		if !ok {
			return api.PaceReportBody{}, &scheduling.InvalidError{Field: "--staff", Problem: fmt.Sprintf("is %q, of whom the file has no records", c.Staff), Want: "a name or id of the file"}
		}
		fit.Rows = keep(fit.Rows, func(r pace.Row) bool { return r.Staff == "" || r.Staff == id || r.With == id })
		promises = keep(promises, func(p pace.Promise) bool { return p.Staff == id })
	}
	report := api.NewPaceReportBody(fit, pace.Promises(promises, records.Loc), records.Names, records.Loc)
	report.From, report.To = records.AsOf.In(records.Loc), records.AsOf.In(records.Loc)
	for _, o := range records.Observations {
		if o.At.Before(report.From) {
			report.From = o.At.In(records.Loc)
		}
	}
	return report, nil
}

func keep[T any](list []T, f func(T) bool) []T {
	out := make([]T, 0, len(list))
	for _, x := range list {
		if f(x) {
			out = append(out, x)
		}
	}
	return out
}

// person finds the id of whom --staff names.
func (c *PaceCmd) person(fit pace.Fit, records pace.Records) (string, bool) {
	for _, r := range fit.Rows {
		for _, id := range []string{r.Staff, r.With} {
			if id != "" && (id == c.Staff || strings.EqualFold(records.Names[id], c.Staff)) {
				return id, true
			}
		}
	}
	return "", false
}

// ofSalon reads the records of the oldest salon of the database.
func (c *PaceCmd) ofSalon(out io.Writer) (api.PaceReportBody, error) {
	var none api.PaceReportBody
	ctx, stop := untilTold()
	defer stop()
	url, end, err := c.open(ctx, func(string, ...any) {})
	if err != nil {
		return none, err
	}
	defer end()
	if err := store.Migrate(ctx, url); err != nil {
		return none, err
	}
	st, err := store.Open(ctx, url, 2)
	if err != nil {
		return none, err
	}
	defer st.Close()
	return c.ofStore(ctx, st, out)
}

func (c *PaceCmd) ofStore(ctx context.Context, st *store.Store, out io.Writer) (api.PaceReportBody, error) {
	var none api.PaceReportBody
	n, err := st.FirstSalon(ctx)
	if err != nil {
		return none, fmt.Errorf("there is no salon in the database: %w", err)
	}
	id := ""
	if c.Staff != "" {
		var staff []store.Staff
		if err := st.Read(ctx, n.ID, func(t *store.Tx) (err error) { staff, err = t.StaffList(ctx); return err }); err != nil {
			return none, err
		}
		for _, p := range staff {
			if p.ID == c.Staff || strings.EqualFold(p.Name, c.Staff) {
				id = p.ID
			}
		}
		if id == "" {
			return none, &scheduling.InvalidError{Field: "--staff", Problem: fmt.Sprintf("is %q, who does not work here", c.Staff), Want: "the name or id of a person of " + n.Name}
		}
	}
	if !c.JSON {
		fmt.Fprintln(out, n.Name)
	}
	return api.New(st, "http://127.0.0.1", time.Now).PaceReport(ctx, n.ID, id, c.Months)
}

// writePaceReport writes a report for people.
func writePaceReport(out io.Writer, r api.PaceReportBody) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "Records from %s to %s\n\n", r.From.Format("2 January 2006"), r.To.Format("2 January 2006"))
	for _, w := range r.Words {
		fmt.Fprintln(&b, w)
	}
	writeKept(&b, r.Promise)
	writePaces(&b, r)
	writeLeftOut(&b, r)
	fmt.Fprintf(&b, "\n%s\n", r.Note)
	_, err := out.Write(b.Bytes())
	return err
}

// barWidth is the length of the longest bar of a chart.
const barWidth = 40

func writeKept(b *bytes.Buffer, p api.PromiseBody) {
	most := 0
	for _, x := range p.Bins {
		most = max(most, x.Visits)
	}
	if most == 0 {
		return
	}
	b.WriteString("\nReal minutes as a part of the promised ones, visits\n")
	for _, x := range p.Bins {
		if x.Visits == 0 {
			continue
		}
		to := "above"
		if x.To != nil {
			to = fmt.Sprintf("to %.2f", *x.To)
		}
		fmt.Fprintf(b, "%5.2f %-7s %4d %s\n", x.From, to, x.Visits, strings.Repeat("▪", max(x.Visits*barWidth/most, 1)))
	}
}

func writePaces(b *bytes.Buffer, r api.PaceReportBody) {
	if len(r.Steps) == 0 {
		return
	}
	b.WriteString("\n")
	w := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "step\twho\tvisits\tworth\tbare\tapart\tfactor\t8 of 10 times")
	for _, s := range r.Steps {
		who := "salon"
		switch {
		case s.WithName != "":
			who = s.StaffName + " + " + s.WithName
		case s.StaffName != "":
			who = s.StaffName
		case s.Pair:
			who = "salon, in pairs"
		}
		apart := "–"
		if s.Spread > 0 {
			apart = fmt.Sprintf("%.0f %%", s.Spread)
		}
		bare := strings.Replace(fmt.Sprintf("%+.0f %%", math.Round(s.Bias)+0), "-", "−", 1) // + 0 leaves no −0
		fmt.Fprintf(w, "%s\t%s\t%d\t%.1f\t%s\t%s\t%.2f\t%.2f to %.2f\n", s.Label, who, s.Visits, s.Weight, bare, apart, s.Factor, s.Low, s.High)
	}
	_ = w.Flush() // a buffer takes everything
	trimLineEnds(b)
	b.WriteString("worth: visits lose weight with age, and steps that share a noted stretch count a part. bare: beside the sheet, as noted.\n" +
		"factor: what the sheet's mean is multiplied by; few visits are drawn towards the sheet.\n")
}

func writeLeftOut(b *bytes.Buffer, r api.PaceReportBody) {
	words := map[pace.Reason]string{
		pace.StoppedEarly: "stopped early", pace.Interrupted: "interrupted", pace.Goodwill: "minutes given away", pace.Correction: "corrections",
		pace.OtherHands: "more or fewer hands than planned", pace.NotNoted: "not noted", pace.Waiting: "begun at an unknown time after the client came",
		pace.Unlikely: "unlikely lengths", pace.FarOff: "far from all others", pace.SwitchedOff: "learning switched off", pace.TooOld: "before the day from which records count",
	}
	var parts []string
	for _, why := range pace.Reasons {
		if n := r.LeftOut[string(why)]; n > 0 {
			parts = append(parts, fmt.Sprintf("%s %d", words[why], n))
		}
	}
	fmt.Fprintf(b, "\n%d steps count", r.Counted)
	if len(parts) > 0 {
		fmt.Fprintf(b, "; left out: %s", strings.Join(parts, ", "))
	}
	b.WriteString(".\n")
}
