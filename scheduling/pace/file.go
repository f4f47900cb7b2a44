package pace

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"strconv"
	"strings"
	"time"

	"chairblock/scheduling"
)

// Schema names the form of a file of records.
const Schema = "pace/1"

// Limits of a file: in bytes, records and faults, far above what a salon collects in years
// (judgement).
const (
	mostBytes   = 64 << 20
	mostRecords = 500_000
	mostFaults  = 20 // that are told
)

// Records is a file of records: what was observed, and what was promised.
type Records struct {
	// AsOf is the time at which paces are worked out: that of the newest record
	// where the file does not say.
	AsOf         time.Time
	Loc          *time.Location // of weeks and days; UTC where the file does not say
	Settings     Settings
	Names        map[string]string // of people by id
	Observations []Observation
	Promises     []Promise
}

// file is the JSON form. Fields are named as the faults of Observation and
// Promise name them.
type file struct {
	Schema       string             `json:"schema"`
	AsOf         *time.Time         `json:"as_of"`
	Zone         string             `json:"time_zone"`
	Constants    map[string]float64 `json:"constants"`
	Names        map[string]string  `json:"names"`
	Observations []fileObservation  `json:"observations"`
	Promises     []filePromise      `json:"promises"`
}

type fileObservation struct {
	Visit string    `json:"visit"`
	Staff string    `json:"staff"`
	With  string    `json:"with"`
	Kind  string    `json:"kind"`
	Sheet float64   `json:"sheet_minutes"`
	SD    float64   `json:"sheet_sd_minutes"`
	Real  float64   `json:"real_minutes"`
	At    time.Time `json:"at"`
	Steps *int      `json:"steps"`
	Out   string    `json:"left_out"`
}

type filePromise struct {
	Visit    string    `json:"visit"`
	Staff    string    `json:"staff"`
	At       time.Time `json:"at"`
	Quantile float64   `json:"quantile"`
	Minutes  float64   `json:"promise_minutes"`
	Block    float64   `json:"block_minutes"`
	Real     float64   `json:"real_minutes"`
	Out      string    `json:"left_out"`
}

// Read reads records from JSON, or from CSV with a line of headings when the
// first character is no brace. CSV holds observations only, in the columns
// visit, staff, with, kind, sheet_minutes, sheet_sd_minutes, real_minutes, at,
// steps and left_out in any order; with, sheet_sd_minutes, steps and left_out
// may be absent.
//
// It returns Faults naming the first faulty places, as in
// observations[3].real_minutes.
func Read(r io.Reader) (Records, error) {
	data, err := io.ReadAll(io.LimitReader(r, mostBytes+1))
	if err != nil {
		return Records{}, err
	}
	if len(data) > mostBytes {
		return Records{}, &scheduling.InvalidError{Problem: "the file is longer than 64 MB", Want: "the records of one salon"}
	}
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	var f file
	if text := bytes.TrimLeft(data, " \t\r\n"); len(text) > 0 && text[0] == '{' {
		f, err = readJSON(text)
	} else {
		f, err = readCSV(data)
	}
	if err != nil {
		return Records{}, err
	}
	return f.records()
}

func readJSON(data []byte) (file, error) {
	var f file
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&f); err != nil {
		return f, jsonFault(err, data)
	}
	if d.More() {
		return f, &scheduling.InvalidError{Problem: "something follows the object", Want: "one JSON object"}
	}
	if f.Schema != Schema {
		return f, &scheduling.InvalidError{Field: "schema", Problem: fmt.Sprintf("is %q", f.Schema), Want: Schema}
	}
	return f, nil
}

// jsonFault says where a file is no such JSON.
func jsonFault(err error, data []byte) error {
	out := &scheduling.InvalidError{Want: "the fields of schema " + Schema}
	if t, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
		want := map[reflect.Kind]string{reflect.Float64: "a number", reflect.Int: "a whole number", reflect.String: "text", reflect.Slice: "a list"}[t.Type.Kind()]
		out.Field, out.Problem, out.Want = t.Field, "holds a JSON "+t.Value, cmp.Or(want, "an object")
		return out
	}
	out.Problem = strings.TrimPrefix(err.Error(), "json: ")
	if errors.Is(err, io.ErrUnexpectedEOF) {
		out.Problem = "the file ends in the middle"
	} else if s, ok := errors.AsType[*json.SyntaxError](err); ok {
		out.Problem = fmt.Sprintf("line %d: %s", 1+bytes.Count(data[:min(s.Offset, int64(len(data)))], []byte("\n")), s)
	}
	return out
}

var columns = map[string]bool{ // whether a column has to be there
	"visit": true, "staff": true, "with": false, "kind": true, "sheet_minutes": true, "sheet_sd_minutes": false, "real_minutes": true,
	"at": true, "steps": false, "left_out": false,
}

func readCSV(data []byte) (file, error) {
	r := csv.NewReader(bytes.NewReader(data))
	r.ReuseRecord = true
	head, err := r.Read()
	if err != nil {
		return file{}, &scheduling.InvalidError{Problem: "the file has no line of headings", Want: "JSON of schema " + Schema + ", or CSV with headings"}
	}
	place := map[string]int{}
	var faults scheduling.Faults
	for i, name := range head {
		name = strings.TrimSpace(name)
		_, known := columns[name]
		_, again := place[name]
		if !known || again {
			faults.Addf("headings", "visit, staff, with, kind, sheet_minutes, sheet_sd_minutes, real_minutes, at, steps, left_out, each once", "have %q", name)
		}
		place[name] = i
	}
	for name, needed := range columns {
		if _, ok := place[name]; needed && !ok {
			faults.Addf("headings", "visit, staff, kind, sheet_minutes, real_minutes and at", "lack %q", name)
		}
	}
	if len(faults) > 0 {
		return file{}, faults
	}
	var f file
	for n := 0; ; n++ {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return f, faults.Err()
		}
		if err != nil {
			return f, &scheduling.InvalidError{Problem: err.Error(), Want: "as many fields as the headings"}
		}
		if len(faults) >= mostFaults {
			return f, faults
		}
		f.Observations = append(f.Observations, csvObservation(&faults, fmt.Sprintf("observations[%d]", n), row, place))
	}
}

func csvObservation(f *scheduling.Faults, at string, row []string, place map[string]int) fileObservation {
	text := func(name string) string {
		if i, ok := place[name]; ok {
			return strings.TrimSpace(row[i])
		}
		return ""
	}
	number := func(name string) float64 {
		s := text(name)
		if s == "" && !columns[name] {
			return 0
		}
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			f.Addf(at+"."+name, "a number such as 82.5", "is %q", s)
			return math.NaN()
		}
		return v
	}
	o := fileObservation{Visit: text("visit"), Staff: text("staff"), With: text("with"), Kind: text("kind"), Out: text("left_out"),
		Sheet: number("sheet_minutes"), SD: number("sheet_sd_minutes"), Real: number("real_minutes")}
	if s := text("steps"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil {
			f.Addf(at+".steps", "a whole number", "is %q", s)
		}
		o.Steps = &n
	}
	var err error
	if o.At, err = time.Parse(time.RFC3339, text("at")); err != nil {
		f.Addf(at+".at", "a time such as 2026-05-07T09:00:00+01:00", "is %q", text("at"))
	}
	return o
}

// records checks all of f.
func (f *file) records() (Records, error) {
	var faults scheduling.Faults
	out := Records{Loc: time.UTC, Settings: Default(), Names: f.Names}
	if f.Zone != "" {
		if loc, known := scheduling.ZoneByName(f.Zone); known {
			out.Loc = loc
		} else {
			faults.Addf("time_zone", "an IANA name such as Europe/Lisbon", "is %q", f.Zone)
		}
	}
	for name, v := range f.Constants {
		_ = faults.Join("constants", out.Settings.Set(name, v)) // nothing else than a fault
	}
	_ = faults.Join("constants", out.Settings.Validate())
	if n := len(f.Observations) + len(f.Promises); n > mostRecords {
		faults.Addf("observations", fmt.Sprintf("at most %d records", mostRecords), "and promises are %d", n)
		return out, faults
	}
	for i := range f.Observations {
		o := f.Observations[i].record()
		if err := o.Validate(); err != nil {
			_ = faults.Join(fmt.Sprintf("observations[%d]", i), err)
		}
		out.Observations = append(out.Observations, o)
		out.AsOf = later(out.AsOf, o.At)
		if len(faults) >= mostFaults {
			break
		}
	}
	for i := range f.Promises {
		p := f.Promises[i].record()
		if err := p.Validate(); err != nil {
			_ = faults.Join(fmt.Sprintf("promises[%d]", i), err)
		}
		out.Promises = append(out.Promises, p)
		out.AsOf = later(out.AsOf, p.At)
		if len(faults) >= mostFaults {
			break
		}
	}
	if f.AsOf != nil {
		out.AsOf = *f.AsOf
	}
	if len(faults) > mostFaults {
		faults = append(faults[:mostFaults:mostFaults], &scheduling.InvalidError{Problem: "and perhaps more like these"})
	}
	return out, faults.Err()
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

func (o *fileObservation) record() Observation {
	out := Observation{Visit: o.Visit, Staff: o.Staff, With: o.With, Kind: scheduling.StepKind(o.Kind), Sheet: o.Sheet, SD: o.SD, Real: o.Real,
		At: o.At, Steps: 1, Out: Reason(o.Out)}
	if o.Steps != nil {
		out.Steps = *o.Steps
	}
	return out
}

func (p *filePromise) record() Promise {
	return Promise{Visit: p.Visit, Staff: p.Staff, At: p.At, Quantile: p.Quantile, Minutes: p.Minutes, Block: p.Block, Real: p.Real, Out: Reason(p.Out)}
}
