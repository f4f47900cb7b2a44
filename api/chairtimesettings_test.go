package api_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

const settingsPath = "/v1/chair-time-settings"

// own are the constants in which the salon differs.
func (s *salon) own() map[string]float64 {
	s.t.Helper()
	out := map[string]float64{}
	for _, x := range s.settings() {
		if x.Value != x.Default {
			out[x.Name] = x.Value
		}
	}
	return out
}

func TestTheConstantsAreReplacedAndResetAsAWhole(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	tag := s.call("GET", settingsPath, nil).is(200, nil).header.Get("ETag")
	require.Equal(t, `"v1"`, tag)
	var got api.SettingsBody
	put := func(tag string, values object) answer {
		return s.call("PUT", settingsPath, object{"values": values}, "If-Match", tag)
	}
	a := put(tag, object{"press_medium_seconds": 3, "off_scalp_cm": 2, "dwell_minutes": 5}).is(200, &got)
	require.Equal(t, map[string]float64{"press_medium_seconds": 3, "off_scalp_cm": 2}, s.own())
	var row api.SalonBody
	s.call("GET", "/v1/salon", nil).is(200, &row)
	require.Equal(t, s.own(), row.ChairTime, "what is as the default is not kept")
	require.Len(t, got.Items, len(s.settings()))
	put(tag, object{}).refused(412, "stale")
	put(a.header.Get("ETag"), object{"press_fine_seconds": 2.5, "look_minutes": 1}).is(200, nil)
	require.Equal(t, map[string]float64{"press_fine_seconds": 2.5, "look_minutes": 1}, s.own(), "the document is replaced, not added to")

	reset := func(tag string, names ...string) answer {
		return s.call("POST", settingsPath+"/reset", object{"names": names}, "If-Match", tag)
	}
	require.Equal(t, []string{"body /names/1"}, pointers(reset(`"v3"`, "look_minutes", "looks").refused(422, "invalid")))
	a = reset(`"v3"`, "look_minutes", "dwell_minutes").is(200, nil)
	require.Equal(t, map[string]float64{"press_fine_seconds": 2.5}, s.own())
	reset(`"v3"`).refused(412, "stale")
	s.call("POST", settingsPath+"/reset", object{}, "If-Match", a.header.Get("ETag")).is(200, nil)
	require.Empty(t, s.own())
}

func TestAFaultOfAConstantNamesItAndItsRange(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	before := s.tables()()
	for _, path := range []request{{method: "PUT", path: settingsPath}, {method: "POST", path: settingsPath + "/preview"}} {
		p := s.call(path.method, path.path, object{"values": object{"press_fine_seconds": 16, "dwell_minutes": 7.5, "press": 2, "exposure_warn_minutes": 50, "exposure_refuse_minutes": 45}},
			"If-Match", `"v1"`).refused(422, "invalid")
		require.Equal(t, []string{"body /values/press", "body /values/dwell_minutes", "body /values/press_fine_seconds", "body /values/exposure_warn_minutes"}, pointers(p))
		require.Equal(t, []string{"is 7.5", "a whole number, 5 to 30 min"}, []string{p.Errors[1].Detail, p.Errors[1].Expected})
		require.Equal(t, []string{"is 16", "1 to 15 s"}, []string{p.Errors[2].Detail, p.Errors[2].Expected})
		require.Contains(t, p.Errors[3].Expected, "exposure_refuse_minutes, which is 45")
	}
	// Back to its default a limit would lie above the salon's own other one.
	s.call("PUT", settingsPath, object{"values": object{"exposure_warn_minutes": 30, "exposure_refuse_minutes": 35}}, "If-Match", `"v1"`).is(200, nil)
	p := s.call("POST", settingsPath+"/reset", object{"names": []string{"exposure_warn_minutes"}}, "If-Match", `"v2"`).refused(422, "invalid")
	require.Equal(t, []string{"body /names/exposure_warn_minutes"}, pointers(p))
	require.NotEqual(t, before, s.tables()())
}

func TestAPreviewShowsTheSevenHeadsAndStoresNothing(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	before := s.tables()()
	preview := func(values object) (p api.PreviewBody) {
		s.call("POST", settingsPath+"/preview", object{"values": values}).is(200, &p)
		require.Len(t, p.Heads, 7)
		return p
	}
	same := preview(object{})
	require.Empty(t, same.Changes)
	for i, h := range same.Heads {
		// Derived twice by independent programs.
		require.InDelta(t, []float64{148.07867, 184.04257, 231.13565, 221.26593, 344.32804, 434.60489, 195.87206}[i], h.Before.MeanMinutes, 0.005)
		require.Equal(t, []int{180, 210, 270, 255, 405, 495, 225}[i], h.After.BlockMinutes)
		require.Zero(t, h.Difference)
		require.Empty(t, h.Gained)
		require.Empty(t, h.Lost)
	}
	// 1,144 presses on the third head, each half a second longer; derived.
	p := preview(object{"press_medium_seconds": 3, "exposure_refuse_minutes": 45, "exposure_warn_minutes": 45})
	require.Len(t, p.Changes, 3)
	require.Equal(t, api.SettingChange{Name: "press_medium_seconds", Label: "press, medium hair", Unit: "s", From: 2.5, To: 3}, p.Changes[2])
	third := p.Heads[2]
	require.InDelta(t, 9.5, third.Difference.MeanMinutes, 0.05)
	require.Equal(t, third.After.BlockMinutes-third.Before.BlockMinutes, third.Difference.BlockMinutes)
	require.Equal(t, []string{"refuse", "exposure"}, []string{third.Gained[0].Level, third.Gained[0].Code})
	require.Equal(t, []string{"warn", "exposure"}, []string{third.Lost[0].Level, third.Lost[0].Code})
	require.Zero(t, p.Heads[0].Difference, "fine hair")
	require.Equal(t, before, s.tables()())

	// What the salon has already is the before.
	s.call("PUT", settingsPath, object{"values": object{"press_medium_seconds": 3}}, "If-Match", `"v1"`).is(200, nil)
	back := preview(object{})
	require.Equal(t, third.Before.MeanMinutes, back.Heads[2].After.MeanMinutes)
	require.InDelta(t, -9.5, back.Heads[2].Difference.MeanMinutes, 0.05)
}

func TestEveryConstantHasALabelARangeAndASource(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	labels := map[string]bool{}
	for _, x := range s.settings() {
		require.NotEmpty(t, x.Label, x.Name)
		require.False(t, labels[x.Label], "%s: two constants are called %q", x.Name, x.Label)
		labels[x.Label] = true
		require.NotEmpty(t, x.Source, x.Name)
		require.Less(t, x.Min, x.Max, x.Name)
		require.NotRegexp(t, `\bhead\b|density|porosity|recipe|formula`, x.Label, "%s: words of a salon", x.Name)
	}
}
