package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

func TestTheBookingPageMeasuresInTheUnitsOfTheSalon(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.inInches()
	s.server.MountPages()
	d := s.desk(store.Desk).get("/book")
	require.Contains(t, d.page, "Length, in")
	require.Contains(t, d.page, "Plate width, in")
	require.NotContains(t, d.page, ", cm<")
	require.Equal(t, "1.18", d.form().Get("plate_depth_in"))
	typed := map[string]string{"service": s.services["Straightening"], "length_in": "14", "density": "medium", "strand": "medium", "porosity": "normal",
		"curl": "straight", "plate_depth_in": "1.25"}
	d.press("estimate", typed)
	d.says("8 min + 0.127 min/in × 14 in = 9.8 min")
	require.Equal(t, "14", d.form().Get("length_in"), "as it was typed")
	typed["length_in"], typed["regrowth_in"], typed["plate_depth_in"] = "3", "50", "3"
	d.press("estimate", typed)
	for _, want := range []string{`href="#f-length_in">Length, in: a number from 3.15 to 47.24`, `href="#f-regrowth_in"`, `href="#f-plate_depth_in">Plate width, in: a number from 0.99 to 1.96`} {
		require.Contains(t, d.page, want)
	}
	typed["length_in"], typed["plate_depth_in"], typed["curl"], typed["free_length"] = "7", "1.25", "coily", "true"
	typed["regrowth_in"] = ""
	d.press("estimate", typed)
	d.says(" × 18.67 in") // 7 in ÷ (1 − 0.625)
	typed["length_in"] = "1"
	d.press("estimate", typed)
	require.Contains(t, d.page, "is 1 in, which is 2.6667 in stretched: a stretched length of 3.15 to 47.24 in")
}

func TestTheBookingPageFillsInTheHairOfAKnownClient(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	s.straightened(client, time.Date(2026, 6, 9, 9, 0, 0, 0, berlin(t)), "Straightening", hair())
	s.at(time.Date(2026, 9, 9, 9, 0, 0, 0, berlin(t)))
	s.server.MountPages()
	d := s.desk(store.Desk).get("/book?client=" + client)
	f := d.form()
	require.Equal(t, []string{client, "38.3", "3.3", "medium", ""}, []string{f.Get("client"), f.Get("length_cm"), f.Get("regrowth_cm"), f.Get("density"), f.Get("new_client")})
	d.says("35 cm measured on 9 June 2026 + 3 months × 1.1 cm = 3.3 cm = 38.3 cm")
	require.Contains(t, d.page, "How much was cut since 9 June 2026?")

	d.press("hair", map[string]string{"cut_cm": "2,5"})
	require.Equal(t, "35.8", d.form().Get("length_cm"))
	require.Equal(t, "2,5", d.form().Get("cut_cm"))
	require.NotContains(t, d.page, "How much was cut since")
	d.press("hair", map[string]string{"cut_cm": "50"})
	require.Contains(t, d.page, `href="#f-cut_cm"`)

	d.get("/book")
	d.press("estimate", map[string]string{"client": client, "service": s.services["Regrowth retouch"]})
	require.Equal(t, "38.3", d.form().Get("length_cm"), "nobody typed any hair")
	require.Contains(t, d.page, "Time for Regrowth retouch")
	d.get("/book")
	d.press("hair", nil)
	require.Contains(t, d.page, `href="#f-who"`)
	s.as(store.Desk).call("GET", "/v1/clients/"+client+"/expected-hair", nil).is(200, &api.ExpectedHair{})
	d.get("/book?client=" + s.client("Nora"))
	require.Contains(t, d.page, "never measured here")
}
