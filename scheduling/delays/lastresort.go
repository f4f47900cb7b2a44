package delays

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"chairblock/scheduling/openings"
)

// lastResort says what is left when no remedy keeps every rule without asking
// a client for anything: who would have to stay past closing or lose a break, or, when
// even that does not help, what breaks.
func (f *finder) lastResort(ctx context.Context) error {
	solved := func(r Remedy) bool { return len(r.Left) == 0 && r.Kind != RemedyRebook }
	switch {
	case len(f.left) == 0 || slices.ContainsFunc(f.out, func(r Remedy) bool { return solved(r) && len(r.Moved) == 0 }):
		return nil
	case patient(f.base) && f.base.sound(true):
		f.offerPatience(f.base)
		return nil
	case slices.ContainsFunc(f.out, solved):
		return nil
	}
	var best *outlook
	shop := f.longer()
	for _, all := range []bool{false, true} {
		dr, err := f.pack(ctx, &shop, all)
		if err != nil {
			return err
		}
		if dr == nil {
			continue
		}
		dr.open = true
		o, err := dr.look(f.s)
		if err != nil {
			return err
		}
		if patient(o) && o.sound(true) && (best == nil || o.better(best)) {
			best = o
		}
	}
	switch {
	case best != nil:
		f.offerPatience(best)
	case !slices.ContainsFunc(f.out, func(r Remedy) bool { return len(r.Left) == 0 }):
		f.offer(RemedyLastResort, f.base, "Nothing that was tried keeps every rule. "+f.grave(), nil)
	}
	return nil
}

// offerPatience asks for what is left in o: to stay, or to give up a break.
func (f *finder) offerPatience(o *outlook) {
	var parts []string
	asks := o.whomToAsk()
	for _, b := range toCome(o.broken) {
		parts = append(parts, b.Words)
		a := Ask{Unit: b.Unit, Visit: b.Visit}
		if b.Unit != "" {
			a.Visit = ""
		}
		if !slices.Contains(asks, a) {
			asks = append(asks, a)
		}
	}
	words := "Ask for patience: " + strings.Join(parts, "; ")
	if s := o.saysAll(); s != "" && o != f.base {
		words += ". Then " + s
	}
	f.offer(RemedyLastResort, o, words, asks)
}

// patient reports whether people can mend what is left by staying or by giving
// up a break: no client waits too long and no unit is needed twice.
func patient(o *outlook) bool {
	return !slices.ContainsFunc(toCome(o.broken), func(b Broken) bool { return b.Kind != BrokenClosing && b.Kind != BrokenBreak })
}

// grave says what cannot be kept, and what always holds while product is on.
func (f *finder) grave() string {
	var parts []string
	product := false
	for _, b := range f.left {
		parts = append(parts, b.Words)
		product = product || b.Kind == BrokenProduct
	}
	words := fmt.Sprintf("What breaks: %s.", strings.Join(parts, "; "))
	if product {
		words += " Do not leave product on longer than planned: free a basin for the rinse ahead of everybody, and ask the licensed person."
	}
	return words
}

// longer is the shop with the last closing time of everybody, and its own, put
// off.
func (f *finder) longer() openings.Shop {
	shop := f.d.Shop
	put := func(spans []openings.Span) []openings.Span {
		out := joined(spans)
		if n := len(out); n > 0 {
			out[n-1].To = min(out[n-1].To+f.o.Overtime, shop.Minutes)
		}
		return out
	}
	shop.Premises = put(shop.Premises)
	shop.Units = slices.Clone(shop.Units)
	for u := range shop.Units {
		shop.Units[u].Open = put(shop.Units[u].Open)
	}
	return shop
}
