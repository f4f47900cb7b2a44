package main

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"

	"chairblock/scheduling/chairtime"
)

// writeSheets writes one sheet for each estimate, for a stylist to read.
func writeSheets(out io.Writer, estimates []worked, watchFor, why bool) error {
	var b bytes.Buffer
	for i, e := range estimates {
		if len(estimates) > 1 {
			if i > 0 {
				b.WriteString("\n\n")
			}
			fmt.Fprintf(&b, "%d of %d\n", i+1, len(estimates))
		}
		writeSheet(&b, e)
		if why {
			writeWhy(&b, e.why())
		}
		if watchFor {
			writeWatchFor(&b, e.Estimate, e.units)
		}
	}
	fmt.Fprintf(&b, "\n%s\n", chairtime.SafetyLine)
	_, err := out.Write(b.Bytes())
	return err
}

func writeSheet(b *bytes.Buffer, x worked) {
	e := x.Estimate
	fmt.Fprintf(b, "Hair: %s\n", hairWords(e.Head, x.units))
	if words := e.Head.LengthWorking(x.units); words != "" {
		fmt.Fprintf(b, "Length: %s\n", words)
	}
	fmt.Fprintf(b, "Plan: %s\n", planWords(e.Head, x.units))
	if x.normal != nil {
		fmt.Fprintf(b, "Normal plan: %s, %s\n", x.normal.Words(), chairtime.Default().ExposureWords(e.Head, *x.normal))
	}
	b.WriteString("\n")
	w := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "step\texpected\tbooked\thow the expected minutes are counted")
	for _, s := range e.Steps {
		name := s.Kind.Words()
		if s.Batch > 0 {
			name += ", batch " + strconv.Itoa(s.Batch)
		}
		fmt.Fprintf(w, "%s\t%8.1f\t%6d\t%s\n", name, s.Mean, s.Booked, s.Working)
	}
	fmt.Fprintf(w, "together\t%8.1f\t%6d\t\n", e.Mean, e.Block)
	_ = w.Flush() // a buffer takes everything
	trimLineEnds(b)
	writeTotals(b, e)
	writeCautions(b, e)
	writePlans(b, e)
}

func writeTotals(b *bytes.Buffer, e chairtime.Estimate) {
	fmt.Fprintf(b, "\nKeep %s (%d min). Booked is expected plus its share of the spare time that makes %d of 10 visits end in time.\n",
		chairtime.Hours(e.Block), e.Block, whole(10*e.Quantile))
	fmt.Fprintf(b, "5 of 10 end by %d min, 8 of 10 end by %d min, 9 of 10 end by %d min after the start.\n",
		whole(e.P50), whole(e.P80), whole(e.P90))
	fmt.Fprintf(b, "Product on first section: %d min expected; as booked %s.\n", whole(e.FirstStrandExposure), e.ExposureWorking)
	fmt.Fprintf(b, "May not be interrupted: %d min, from applying solution to rinsing the neutralizer.\n", whole(e.Unbreakable))
	fmt.Fprintf(b, "An assistant may do: %d min (wash, rinse, dry).\n", whole(e.AssistantMinutes))
	fmt.Fprintf(b, "Solution %d ml, neutralizer %d ml for %d g of hair, %d g of it treated.\n",
		whole(e.SolutionML), whole(e.NeutralizerML), whole(e.HairGrams), whole(e.TreatedGrams))
	fmt.Fprintf(b, "%d strips, %d panels, %d presses each, %d presses in all.\n", e.Strips, e.Panels, e.PressesPerPanel, e.Presses)
}

// writeWhy writes how figures are counted, when there are any.
func writeWhy(b *bytes.Buffer, why []chairtime.Reason) {
	if len(why) == 0 {
		return
	}
	b.WriteString("\nHow it is counted:\n")
	for _, r := range why {
		fmt.Fprintf(b, "  %s: %s\n", r.Label, r.Working)
	}
}

func writeCautions(b *bytes.Buffer, e chairtime.Estimate) {
	b.WriteString("\n")
	for _, c := range e.Cautions {
		fmt.Fprintf(b, "%s: %s\n", c.Level.Words(), c.Text)
	}
}

// writePlans writes the plans to offer instead, when there are any.
func writePlans(b *bytes.Buffer, e chairtime.Estimate) {
	if e.Alternatives == nil {
		return
	}
	b.WriteString("\nInstead:\n")
	offered := false
	for _, p := range e.Alternatives {
		if p.Proposal == "" {
			continue
		}
		offered = true
		fmt.Fprintf(b, "  %s: keep %s (%d min), product on first section %d min as booked\n",
			optionWords(p), chairtime.Hours(p.Block), p.Block, whole(p.BookedExposure))
	}
	if !offered {
		b.WriteString("  no number of batches or hands is enough: cut first, or treat a part; the licensed person decides\n")
	}
}

func optionWords(p chairtime.PlanOption) string {
	who := "alone"
	if p.Hands > 1 {
		who = "with a helper"
	}
	if p.Batches == 1 {
		return who + ", no batches"
	}
	return fmt.Sprintf("%s, %d batches", who, p.Batches)
}

func hairWords(h chairtime.Head, u chairtime.Units) string {
	words := []string{
		u.Length(h.Length),
		map[chairtime.Density]string{
			chairtime.DensityLow: "little hair", chairtime.DensityMedium: "average amount of hair", chairtime.DensityHigh: "a lot of hair",
		}[h.Density],
		"each hair " + string(h.Strand),
		map[chairtime.Porosity]string{
			chairtime.PorosityLow: "resistant", chairtime.PorosityNormal: "normal porosity", chairtime.PorosityHigh: "porous",
		}[h.Porosity],
	}
	if h.HairsPerCM2 > 0 {
		words = append(words, number(h.HairsPerCM2)+" hairs per cm²")
	}
	if h.Damaged {
		words = append(words, "damaged")
	}
	if h.Curl != "" && h.Curl != chairtime.CurlStraight {
		words = append(words, string(h.Curl))
	}
	if h.Regrowth > 0 {
		words = append(words, u.Length(h.Regrowth)+" of new hair")
	}
	if h.NewClient {
		return strings.Join(append(words, "new client"), ", ")
	}
	return strings.Join(append(words, "returning client"), ", ")
}

func planWords(h chairtime.Head, u chairtime.Units) string {
	words := []string{"one stylist"}
	if h.Hands > 1 {
		words[0] = "two pairs of hands"
	}
	words = append(words, fmt.Sprintf("%d sections", h.Sections), "plate width "+u.Length(h.PlateWidth))
	if h.TwoStage {
		words = append(words, "solution in two stages")
	}
	if h.Batches > 1 {
		words = append(words, fmt.Sprintf("%d batches", h.Batches))
	}
	if h.Passes > 1 {
		words = append(words, fmt.Sprintf("%d passes of the iron", h.Passes))
	}
	if h.AreaShare > 0 && h.AreaShare < 1 {
		words = append(words, number(100*h.AreaShare)+" % of the scalp")
	}
	for _, a := range h.Areas {
		words = append(words, strings.ReplaceAll(string(a), "_", " and "))
	}
	if h.IronCelsius > 0 {
		words = append(words, "iron at "+u.Heat(h.IronCelsius))
	}
	return strings.Join(words, ", ")
}

// whole rounds to whole minutes, ml or g, halves away from zero.
func whole(v float64) int { return int(math.Round(v)) }

func number(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

// trimLineEnds takes away the blanks that a table leaves at line ends.
func trimLineEnds(b *bytes.Buffer) {
	lines := strings.Split(b.String(), "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	b.Reset()
	b.WriteString(strings.Join(lines, "\n"))
}
