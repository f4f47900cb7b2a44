package main

import (
	"bytes"
	"fmt"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

// writeWatchFor writes what to watch for in each kind of step of e, in the order
// of the steps and in units of u.
func writeWatchFor(b *bytes.Buffer, e chairtime.Estimate, u chairtime.Units) {
	figures := chairtime.Default().Figures(u)
	seen := map[scheduling.StepKind]bool{}
	b.WriteString("\nWatch for:\n")
	for _, s := range e.Steps {
		if seen[s.Kind] {
			continue
		}
		seen[s.Kind] = true
		lines := scheduling.StandardWatchFor(scheduling.Step{Kind: s.Kind, Formula: scheduling.FormulaHead})
		if len(lines) == 0 {
			continue
		}
		fmt.Fprintf(b, "  %s\n", s.Kind.Words())
		for _, line := range scheduling.Fill(lines, figures) {
			fmt.Fprintf(b, "  - %s\n", line)
		}
	}
}
