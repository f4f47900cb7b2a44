package api

import (
	"encoding/json"
	"math"
	"testing"

	"chairblock/scheduling/chairtime"

	"github.com/stretchr/testify/require"
)

const shoulderHair = `{"length_cm":35,"density":"medium","strand":"medium","porosity":"normal","damaged":false,` +
	`"new_client":true,"regrowth_cm":0,"sections":4,"plate_depth_cm":3,"hands":1}`

func TestHairCrossesTheBorderUnchanged(t *testing.T) {
	var b HeadBody
	require.NoError(t, json.Unmarshal([]byte(shoulderHair), &b))
	require.Equal(t, chairtime.Head{
		Length: 35, Density: chairtime.DensityMedium, Strand: chairtime.StrandMedium, Porosity: chairtime.PorosityNormal,
		NewClient: true, Sections: 4, PlateWidth: 3, Hands: 1,
	}, b.Head())
	back, err := json.Marshal(b)
	require.NoError(t, err)
	require.JSONEq(t, shoulderHair, string(back))

	full := HeadBody{
		LengthCM: 45, Density: "high", Strand: "fine", Porosity: "high", Damaged: true, NewClient: true, RegrowthCM: 10,
		Sections: 5, PlateDepthCM: 4, Hands: 2, Batches: 3, Curl: "coily", Passes: 2, AreaShare: 0.5,
		Areas: []string{"nape"}, ConsultationHeld: true, IronCelsius: 150,
	}
	require.Equal(t, chairtime.Head{
		Length: 45, Density: "high", Strand: "fine", Porosity: "high", Damaged: true, NewClient: true, Regrowth: 10,
		Sections: 5, PlateWidth: 4, Hands: 2, Batches: 3, Curl: "coily", Passes: 2, AreaShare: 0.5,
		Areas: []chairtime.Area{"nape"}, ConsultationHeld: true, IronCelsius: 150,
	}, full.Head())
}

func TestEstimateBodyKeepsItsFigures(t *testing.T) {
	// Figures derived twice by independent programs.
	var b HeadBody
	require.NoError(t, json.Unmarshal([]byte(shoulderHair), &b))
	e, err := chairtime.Default().Estimate(b.Head())
	require.NoError(t, err)
	text, err := json.Marshal(NewEstimateBody(e))
	require.NoError(t, err)
	var got EstimateBody
	require.NoError(t, json.Unmarshal(text, &got))
	require.Equal(t, NewEstimateBody(e), got, "kept estimates are read back whole")
	require.InDelta(t, 231.13565, got.Total.MeanMinutes, 5e-6)
	require.InDelta(t, 227.68, got.Total.P50Minutes, 0.00501)
	require.InDelta(t, 262.00, got.Total.P80Minutes, 0.00501)
	require.InDelta(t, 282.14, got.Total.P90Minutes, 0.00501)
	require.Equal(t, 270, got.BlockMinutes)
	require.Equal(t, 40.5, got.FirstStrandExposureMinutes)
	require.Equal(t, 46.0, got.BookedExposureMinutes)
	require.Equal(t, []int{24, 88, 13, 1144}, []int{got.Strips, got.Panels, got.PressesPerPanel, got.Presses})
	require.Len(t, got.Steps, 14)
	require.Equal(t, StepTimeBody{Kind: "iron", MeanMinutes: 77, BookedMinutes: 92, Working: "88 panels × (20 s + 13 presses × 2.5 s) = 77.0 min"}, got.Steps[7])
	require.Len(t, got.Plans, 12)
	require.Equal(t, "alone", got.Plans[1].Proposal)
	require.NotEmpty(t, got.Safety)
	sum := 0.0
	for _, s := range got.Steps {
		require.Equal(t, math.Round(s.MeanMinutes*100)/100, s.MeanMinutes)
		sum += s.MeanMinutes
	}
	require.InDelta(t, got.Total.MeanMinutes, sum, 0.08)
}

func TestShortHairHasEmptyListsNotNull(t *testing.T) {
	e, err := chairtime.Default().Estimate(HeadBody{
		LengthCM: 15, Density: "low", Strand: "fine", Porosity: "normal", Sections: 4, PlateDepthCM: 3, Hands: 1,
	}.Head())
	require.NoError(t, err)
	text, err := json.Marshal(NewEstimateBody(e))
	require.NoError(t, err)
	require.Contains(t, string(text), `"plans":[]`)
	require.NotContains(t, string(text), "null")
}

func TestPhoneBodies(t *testing.T) {
	q := PhoneBody{Reach: "chin", Ponytail: "a_lot", History: []string{"coloured", "not_sure"}}.Questions()
	require.Equal(t, chairtime.PhoneQuestions{
		Reach: chairtime.ReachChin, Ponytail: chairtime.PonytailALot,
		History: []chairtime.History{chairtime.HistoryColoured, chairtime.HistoryNotSure},
	}, q)
	a, err := chairtime.Default().Phone(q)
	require.NoError(t, err)
	b := NewPhoneAnswerBody(a)
	require.Equal(t, a.Keep, b.KeepMinutes)
	require.True(t, b.OnlyConsultation)
	require.Equal(t, 45, b.ConsultationMinutes)
	require.Equal(t, a.Words, b.Words)
}
