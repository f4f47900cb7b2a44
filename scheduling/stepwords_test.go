package scheduling

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestEveryStepHasOneNameEverywhere(t *testing.T) {
	for _, k := range formulaKinds {
		require.Contains(t, stepWords, k)
	}
	for _, s := range StandardServices() {
		for _, st := range s.Steps {
			if st.Formula == FormulaHead {
				require.Equal(t, st.Kind.Words(), st.Label, s.Name)
			}
		}
	}
	require.Equal(t, "beard", StepKind("beard").Words())
}
