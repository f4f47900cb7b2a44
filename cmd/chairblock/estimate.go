package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/alecthomas/kong"

	"chairblock/api"
	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

// EstimateCmd is chairblock estimate: hair from flags or from a file, worked
// out with the default settings.
type EstimateCmd struct {
	File string `short:"f" placeholder:"FILE" help:"Read hair from a JSON file, one object or a list; - is standard input."`
	JSON bool   `help:"Answer in JSON: one object for one object, a list for a list."`
	// WatchFor is for the sheet: a program needs no reminders.
	WatchFor bool `help:"Print what to watch for in each step, too."`
	Why      bool `help:"Say how every other figure is counted, too: hairs, grams, product, panels, minutes."`

	// Units are those of the answer; left out: those that the hair was given in.
	Units []string `placeholder:"UNIT" help:"Answer in these units: cm or in, C or F; left out: as the hair was given."`

	Length           float64  `group:"Hair" aliases:"length-cm" placeholder:"CM" help:"Stretched length from crown to ends, 8 to 120 cm."`
	LengthIn         *float64 `group:"Hair" placeholder:"IN" help:"The same in inches, 3.15 to 47.24."`
	FreeLength       float64  `group:"Hair" aliases:"free-length-cm" placeholder:"CM" help:"Length as the hair hangs instead, with --shrinkage or with --curl."`
	FreeLengthIn     *float64 `group:"Hair" placeholder:"IN" help:"The same in inches."`
	Shrinkage        *float64 `group:"Hair" placeholder:"SHARE" help:"How much shorter than stretched it hangs, 0 to below 0.95; left out: what is usual for the curl."`
	Density          string   `group:"Hair" default:"medium" help:"How much hair: low, medium or high."`
	Hairs            float64  `group:"Hair" aliases:"hairs-per-cm2" placeholder:"N" help:"Hairs counted on a cm² of scalp instead, 80 to 350."`
	Strand           string   `group:"Hair" default:"medium" help:"Each hair: fine, medium or coarse."`
	Porosity         string   `group:"Hair" default:"normal" help:"low (resistant), normal or high (porous)."`
	Damaged          bool     `group:"Hair" help:"Bleached, brittle or otherwise weakened."`
	NewClient        bool     `group:"Hair" default:"true" negatable:"returning" help:"A new client, or a returning one."`
	Regrowth         float64  `group:"Hair" aliases:"regrowth-cm" default:"0" placeholder:"CM" help:"New hair in cm, stretched, when only that is treated."`
	RegrowthIn       *float64 `group:"Hair" placeholder:"IN" help:"The same in inches."`
	Curl             string   `group:"Hair" default:"straight" help:"straight, wavy, curly or coily."`
	AreaShare        float64  `group:"Hair" placeholder:"SHARE" help:"Treated share of the scalp, 0.01 to 1."`
	Areas            []string `group:"Hair" placeholder:"AREA" help:"Treated parts by name: nape, sides, crown_back, front_top; or hairline; or fringe."`
	ConsultationHeld bool     `group:"Hair" help:"The long talk took place on an earlier day."`

	Sections       int      `group:"Plan" default:"4" help:"Sections that the hair is divided into, 2 to 8."`
	PlateWidth     float64  `group:"Plan" aliases:"plate-depth-cm,plate" default:"3" placeholder:"CM" help:"Width of the iron's plates, 2.5 to 5 cm."`
	PlateWidthIn   *float64 `group:"Plan" aliases:"plate-depth-in,plate-in" placeholder:"IN" help:"The same in inches, 0.99 to 1.96."`
	Hands          int      `group:"Plan" default:"1" help:"Pairs of hands, 1 or 2."`
	Batches        int      `group:"Plan" default:"1" help:"Apply and rinse in so many batches, 1 to 6."`
	Plan           string   `group:"Plan" default:"as_given" help:"as_given, or normal: the fewest batches, and a helper where these are not enough, that keep product on for less than the limit."`
	Passes         int      `group:"Plan" default:"1" help:"Passes of the iron, 1 to 3."`
	IronCelsius    float64  `group:"Plan" placeholder:"C" help:"Planned setting of the iron in °C, to have it checked."`
	IronFahrenheit *float64 `group:"Plan" placeholder:"F" help:"The same in °F."`

	TwoStage bool `group:"Service" help:"Solution in two stages: roots and mid-lengths first, the ends later."`

	Phone    bool     `group:"Telephone" help:"Answer a caller from three questions instead."`
	Reach    string   `group:"Telephone" help:"Where the hair reaches: ear, chin, shoulder, mid_back, waist or longer."`
	Ponytail string   `group:"Telephone" help:"little, average, a_lot or unknown."`
	History  []string `group:"Telephone" help:"What was done in three years: nothing, straightened_here, straightened, coloured, bleached_or_highlighted, relaxer_or_perm, henna_or_other, not_sure."`
}

// Run answers on out and writes nothing there unless all of the input is good.
func (c *EstimateCmd) Run(k *kong.Context, in io.Reader, out io.Writer) error {
	if err := c.oneSource(k); err != nil {
		return err
	}
	if c.Phone {
		return c.answerCaller(out)
	}
	hair, list, err := c.hair(k, in)
	if err != nil {
		return err
	}
	estimates, err := c.work(hair, list)
	if err != nil {
		return err
	}
	if !c.JSON {
		return writeSheets(out, estimates, c.WatchFor, c.Why)
	}
	bodies := make([]api.EstimateBody, len(estimates))
	for i, e := range estimates {
		bodies[i] = api.NewEstimateBody(e.Estimate)
		if e.normal != nil {
			bodies[i] = bodies[i].Normal(*e.normal)
		}
		if c.Why {
			bodies[i] = bodies[i].Explained(e.why())
		}
	}
	if list {
		return writeJSON(out, bodies)
	}
	return writeJSON(out, bodies[0])
}

// oneSource refuses flags that would be ignored.
func (c *EstimateCmd) oneSource(k *kong.Context) error {
	var hair, phone []string
	service := false
	for _, p := range k.Path {
		if p.Flag == nil || p.Flag.Group == nil {
			continue
		}
		switch name := "--" + p.Flag.Name; {
		case name == "--two-stage": // of the service, whosever hair it is
			service = true
		case p.Flag.Group.Key != "Telephone":
			hair = append(hair, name)
		case name != "--phone":
			phone = append(phone, name)
		}
	}
	switch {
	case c.WatchFor && (c.JSON || c.Phone):
		return usagef("--watch-for belongs on the sheet of an estimate; leave it out with --json and --phone")
	case c.Phone && c.File != "":
		return usagef("--phone and --file do not go together")
	case c.Phone && service:
		return usagef("--phone answers before anybody knows how it is done; leave out --two-stage")
	case c.Phone && len(hair) > 0:
		return usagef("--phone asks only --reach, --ponytail and --history; leave out %s", strings.Join(hair, ", "))
	case !c.Phone && len(phone) > 0:
		return usagef("%s needs --phone", strings.Join(phone, ", "))
	case c.File != "" && len(hair) > 0:
		return usagef("with --file the hair comes from the file; leave out %s", strings.Join(hair, ", "))
	case !c.Phone && c.File == "" && !slices.ContainsFunc(hair, isLength):
		return usagef("give --length in cm, or --length-in, or --free-length, or --file, or --phone")
	}
	return c.checkUnits()
}

func isLength(flag string) bool {
	return slices.Contains([]string{"--length", "--length-in", "--free-length", "--free-length-in"}, flag)
}

// checkUnits refuses units that contradict each other or that nobody measures in.
func (c *EstimateCmd) checkUnits() error {
	seen := map[string]string{}
	for _, u := range c.Units {
		of := map[string]string{"cm": "length", "in": "length", "C": "heat", "F": "heat"}[u]
		switch {
		case of == "":
			return usagef("--units: %q is not a unit; expected cm or in, C or F", u)
		case seen[of] != "" && seen[of] != u:
			return usagef("--units: %s and %s contradict each other", seen[of], u)
		}
		seen[of] = u
	}
	if c.Phone && len(c.Units) > 0 {
		return usagef("--phone answers in hours alone; leave out --units")
	}
	return nil
}

// units are those of the answer about h.
func (c *EstimateCmd) units(h api.HeadBody) chairtime.Units {
	u := chairtime.Units{Inches: h.LengthIn != nil || h.FreeLengthIn != nil || h.RegrowthIn != nil || h.PlateDepthIn != nil, Fahrenheit: h.IronFahrenheit != nil}
	for _, unit := range c.Units {
		switch unit {
		case "cm", "in":
			u.Inches = unit == "in"
		case "C", "F":
			u.Fahrenheit = unit == "F"
		}
	}
	return u
}

// fromFlags is the hair that the flags say. Defaults give way to what is said
// instead of them.
func (c *EstimateCmd) fromFlags(k *kong.Context) api.HeadBody {
	h := api.HeadBody{
		LengthCM: c.Length, LengthIn: c.LengthIn, FreeLengthCM: c.FreeLength, FreeLengthIn: c.FreeLengthIn, Shrinkage: c.Shrinkage,
		Density: c.Density, HairsPerCM2: c.Hairs, Strand: c.Strand, Porosity: c.Porosity, Damaged: c.Damaged,
		NewClient: c.NewClient, RegrowthCM: c.Regrowth, RegrowthIn: c.RegrowthIn, Sections: c.Sections, PlateDepthCM: c.PlateWidth, PlateDepthIn: c.PlateWidthIn, Hands: c.Hands,
		Batches: c.Batches, Plan: c.Plan, Curl: c.Curl, Passes: c.Passes, AreaShare: c.AreaShare, Areas: c.Areas,
		ConsultationHeld: c.ConsultationHeld, IronCelsius: c.IronCelsius, IronFahrenheit: c.IronFahrenheit,
	}
	given := func(name string) bool {
		return slices.ContainsFunc(k.Path, func(p *kong.Path) bool { return p.Flag != nil && p.Flag.Name == name })
	}
	if h.PlateDepthIn != nil && !given("plate-width") {
		h.PlateDepthCM = 0
	}
	if h.HairsPerCM2 != 0 && !given("density") {
		h.Density = ""
	}
	if (h.FreeLengthCM != 0 || h.FreeLengthIn != nil) && !given("curl") {
		h.Curl = ""
	}
	h.InSI()
	return h
}

// hair reads all hair to be worked out, from the file or from the flags.
func (c *EstimateCmd) hair(k *kong.Context, in io.Reader) (hair []api.HeadBody, list bool, err error) {
	switch c.File {
	case "":
		return []api.HeadBody{c.fromFlags(k)}, false, nil
	case "-":
		return readHair(in)
	}
	f, err := os.Open(c.File)
	if err != nil {
		return nil, false, usagef("%v", err)
	}
	defer f.Close()
	return readHair(f)
}

// worked is an estimate, and the normal plan that it follows where that was asked
// for.
type worked struct {
	chairtime.Estimate
	normal *chairtime.PlanOption
	units  chairtime.Units
}

// why is how the figures of w are counted that belong to no one step.
func (w worked) why() []chairtime.Reason {
	c := chairtime.Default()
	c.Units = w.units
	return c.Why(w.Estimate, scheduling.StandardAssistantSteps())
}

// work works out all hair, or returns the faults of all.
func (c *EstimateCmd) work(hair []api.HeadBody, list bool) ([]worked, error) {
	var faults scheduling.Faults
	out := make([]worked, len(hair))
	for i, h := range hair {
		at := ""
		if list {
			at = fmt.Sprintf("[%d]", i)
		}
		var err error
		if out[i], err = workOut(h, c.TwoStage, c.units(h)); err != nil {
			if err = faults.Join(at, err); err != nil {
				return nil, err
			}
		}
	}
	return out, faults.Err()
}

func workOut(hair api.HeadBody, twoStage bool, units chairtime.Units) (w worked, err error) {
	var f scheduling.Faults
	if hair.CheckPlan(&f); len(f) > 0 {
		return w, f
	}
	settings := chairtime.Default()
	settings.Units, w.units = units, units
	h := hair.Head()
	h.TwoStage = twoStage
	if hair.Plan == api.NormalPlan {
		w.normal = new(chairtime.PlanOption)
		if h, *w.normal, err = settings.NormalPlan(h); err != nil {
			return w, err
		}
	}
	w.Estimate, err = settings.Estimate(h)
	return w, err
}

func (c *EstimateCmd) answerCaller(out io.Writer) error {
	q := api.PhoneBody{Reach: c.Reach, Ponytail: c.Ponytail, History: c.History}.Questions()
	a, err := chairtime.Default().Phone(q)
	if err != nil {
		return err
	}
	var why []chairtime.Reason
	if c.Why {
		why = chairtime.Default().WhyPhone(q, a)
	}
	if c.JSON {
		return writeJSON(out, api.NewPhoneAnswerBody(a).Explained(why))
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s\n", sentence(a.Words))
	writeWhy(&b, why)
	fmt.Fprintf(&b, "\n%s\n", chairtime.SafetyLine)
	_, err = out.Write(b.Bytes())
	return err
}

// sentence begins s with a capital; s begins with a letter of ASCII.
func sentence(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

func writeJSON(out io.Writer, v any) error {
	e := json.NewEncoder(out)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(v)
}
