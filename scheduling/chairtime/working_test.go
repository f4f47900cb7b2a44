package chairtime

import (
	"regexp"
	"strconv"
	"strings"
	"testing"

	"chairblock/scheduling"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestWorkingOfTheIron(t *testing.T) {
	for _, tt := range []struct {
		name string
		head Head
		want string
	}{
		{"shoulder", shoulderMedium, "88 panels × (20 s + 13 presses × 2.5 s) = 77.0 min"},
		{"damaged", shoulderDamaged, "88 panels × (20 s + 13 presses × 2 s) × 1.1 damaged = 74.2 min"},
		{"helper", withHands(shoulderMedium, 2), "88 panels × (20 s + 13 presses × 2.5 s) ÷ 2 for two pairs of hands = 38.5 min"},
		{"retouch", retouchMidBack, "88 panels × (20 s + 6 presses × 2.5 s + 5 s light pass) = 58.7 min"},
	} {
		for _, s := range estimated(t, Default(), tt.head).Steps {
			if s.Kind == scheduling.Iron {
				require.Equal(t, tt.want, s.Working, tt.name)
			}
		}
	}
}

var workingToken = regexp.MustCompile(`\d+(\.\d+)?|[×÷+−()%]`)

// reckon evaluates a working as a reader would: seconds are turned into
// minutes, words are skipped.
func reckon(t require.TestingT, working string) float64 {
	sum, _, found := strings.Cut(working, " = ")
	require.True(t, found)
	seconds := regexp.MustCompile(`(\d+(\.\d+)?) s\b`)
	sum = strings.ReplaceAll(seconds.ReplaceAllString(sum, "($1 ÷ 60)"), "% of", "% ×")
	tokens := workingToken.FindAllString(sum, -1)
	at := 0
	next := func() string {
		if at < len(tokens) {
			return tokens[at]
		}
		return ""
	}
	var add func() float64
	value := func() float64 {
		tok := next()
		at++
		if tok == "(" {
			v := add()
			require.Equal(t, ")", next())
			at++
			return v
		}
		v, err := strconv.ParseFloat(tok, 64)
		require.NoError(t, err, "%s at token %d", working, at)
		if next() == "%" {
			at++
			v /= 100
		}
		return v
	}
	multiply := func() float64 {
		v := value()
		for {
			switch next() {
			case "×":
				at++
				v *= value()
			case "÷":
				at++
				v /= value()
			default:
				return v
			}
		}
	}
	add = func() float64 {
		v := multiply()
		for {
			switch next() {
			case "+":
				at++
				v += multiply()
			case "−":
				at++
				v -= multiply()
			default:
				return v
			}
		}
	}
	v := add()
	require.Equal(t, len(tokens), at, working)
	return v
}

func TestEveryWorkingAddsUpToItsStep(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, h := anySettings(t), anyHead(t)
		e, err := c.Estimate(h)
		require.NoError(t, err)
		for _, s := range e.Steps {
			_, result, _ := strings.Cut(s.Working, " = ")
			require.Equal(t, strconv.FormatFloat(s.Mean, 'f', 1, 64)+" min", result)
			if strings.ContainsAny(s.Working, "×+") {
				// Numbers are shown with two decimals at most.
				require.InDelta(t, s.Mean, reckon(t, s.Working), 0.05+0.01*s.Mean, s.Working)
			}
		}
	})
}
