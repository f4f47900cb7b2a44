package api

import (
	"errors"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

// sameFigure is how far two figures for one thing may lie apart, in cm or °C,
// and still say the same (judgement: answers are rounded far below it): an answer that
// names both units can be sent back.
const sameFigure = 0.01

// Resolve is called for hair anywhere in a request once it is read, so that
// everything behind the border finds SI units. The description bounds every
// figure on its own; where one is out of bounds, what contradicts itself beside
// it is said at once.
func (b *HeadBody) Resolve(_ huma.Context, at *huma.PathBuffer) []error {
	b.InSI()
	out, words := b.outOfBounds()
	if !out {
		return nil
	}
	faults, _ := errors.AsType[scheduling.Faults](b.Head().Validate())
	var errs []error
	for _, f := range faults {
		name, _, _ := strings.Cut(f.Field, "[")
		if words[name] { // nobody's words are repeated
			continue
		}
		f.Field = scheduling.Under(strings.TrimPrefix(strings.TrimPrefix(at.String(), "body"), "."), f.Field)
		errs = append(errs, ownFault{f})
	}
	return errs
}

// outOfBounds reports whether a figure or a word is not what the description
// allows, and names the fields whose words are not.
func (b *HeadBody) outOfBounds() (out bool, words map[string]bool) {
	v := reflect.ValueOf(b).Elem()
	words = map[string]bool{}
	for i := range v.NumField() {
		tag, x := v.Type().Field(i).Tag, v.Field(i)
		if !v.Type().Field(i).IsExported() || x.IsZero() {
			continue
		}
		name, _, _ := strings.Cut(tag.Get("json"), ",")
		switch x := reflect.Indirect(x).Interface().(type) {
		case float64:
			out = out || !bounded(tag, x)
		case int:
			out = out || !bounded(tag, float64(x))
		case string:
			words[name] = tag.Get("enum") != "" && !slices.Contains(strings.Split(tag.Get("enum"), ","), x)
		case []string:
			words[name] = slices.ContainsFunc(x, func(s string) bool { return !slices.Contains(strings.Split(tag.Get("enum"), ","), s) })
		}
		out = out || words[name]
	}
	return out, words
}

// bounded holds a figure against the bounds in a tag.
func bounded(tag reflect.StructTag, v float64) bool {
	least, err1 := strconv.ParseFloat(tag.Get("minimum"), 64)
	most, err2 := strconv.ParseFloat(tag.Get("maximum"), 64)
	return err1 != nil || err2 != nil || v >= least && v <= most
}

// InSI turns what is given in inches or °F into centimetres and °C. What is
// given in both and differs is a fault of Head.Validate.
func (b *HeadBody) InSI() {
	b.LengthWorking, b.clash = "", nil
	b.turn("length_in", "length_cm", b.LengthIn, &b.LengthCM, chairtime.CMOfInches)
	b.turn("free_length_in", "free_length_cm", b.FreeLengthIn, &b.FreeLengthCM, chairtime.CMOfInches)
	b.turn("regrowth_in", "regrowth_cm", b.RegrowthIn, &b.RegrowthCM, chairtime.CMOfInches)
	b.turn("plate_depth_in", "plate_depth_cm", b.PlateDepthIn, &b.PlateDepthCM, chairtime.CMOfInches)
	b.turn("iron_fahrenheit", "iron_celsius", b.IronFahrenheit, &b.IronCelsius, chairtime.CelsiusOfFahrenheit)
}

func (b *HeadBody) turn(name, siName string, given *float64, si *float64, turn func(float64) float64) {
	if given == nil {
		return
	}
	v := turn(*given)
	if *si != 0 && !same(*si, v) {
		b.clash.Addf(name, "one of the two", "is %s beside %s, which is %s", scheduling.Number(*given), siName, scheduling.Number(*si))
		return
	}
	*si = v
}

// settled is the hair as it is kept: in SI units, with what follows from the
// salon's settings filled in.
func (b HeadBody) settled(c chairtime.Settings) HeadBody {
	b.InSI()
	b.LengthIn, b.FreeLengthIn, b.RegrowthIn, b.PlateDepthIn, b.IronFahrenheit = nil, nil, nil, nil, nil
	h := c.Settle(b.Head())
	b.LengthCM, b.Shrinkage, b.Density = h.Length, h.Shrinkage, string(h.Density)
	return b
}

// shown is kept hair as answers show it: with the salon's units beside SI ones.
func (b HeadBody) shown(u chairtime.Units) HeadBody {
	b.LengthWorking = b.Head().LengthWorking(u)
	if u.Inches {
		b.LengthIn, b.RegrowthIn, b.PlateDepthIn = inches(b.LengthCM), inches(b.RegrowthCM), inches(b.PlateDepthCM)
		if b.FreeLengthCM > 0 {
			b.FreeLengthIn = inches(b.FreeLengthCM)
		}
	}
	if u.Fahrenheit && b.IronCelsius > 0 {
		b.IronFahrenheit = new(chairtime.FahrenheitOfCelsius(b.IronCelsius))
	}
	return b
}

func inches(cm float64) *float64 { return new(chairtime.InchesOfCM(cm)) }

// inchesIf is a length in inches where the salon measures in them, else nil.
func inchesIf(u chairtime.Units, cm float64) *float64 {
	if !u.Inches {
		return nil
	}
	return inches(cm)
}

// asked is a list of services as it is kept: with its hair in SI units.
func (c *composed) asked(list []ServiceRequest) []ServiceRequest {
	out := slices.Clone(list)
	for i := range out {
		if out[i].Hair != nil {
			out[i].Hair = &c.estimates[i].hair
		}
	}
	return out
}

// shownServices is a kept list of services as answers show it.
func shownServices(list []ServiceRequest, u chairtime.Units) []ServiceRequest {
	for i := range list {
		if list[i].Hair != nil {
			list[i].Hair = new(list[i].Hair.shown(u))
		}
	}
	return list
}

// same reports whether two figures say the same, see sameFigure.
func same(a, b float64) bool { return math.Abs(a-b) <= sameFigure }

// settledMix is a usual mix as it is kept, shownMix as answers show it.
func settledMix(list []MixBody, c chairtime.Settings) []MixBody {
	return mixWith(list, func(h HeadBody) HeadBody { return h.settled(c) })
}

func shownMix(list []MixBody, u chairtime.Units) []MixBody {
	return mixWith(list, func(h HeadBody) HeadBody { return h.shown(u) })
}

func mixWith(list []MixBody, f func(HeadBody) HeadBody) []MixBody {
	out := slices.Clone(list)
	for i := range out {
		if out[i].Hair != nil {
			out[i].Hair = new(f(*out[i].Hair))
		}
	}
	return out
}
