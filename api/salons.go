package api

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"regexp"
	"slices"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/quoting"
	"chairblock/store"
)

// SalonBody is the salon and its settings.
type SalonBody struct {
	ID         string             `json:"id" readOnly:"true" required:"false"`
	Name       string             `json:"name" doc:"Name that clients know" example:"Harbour Chairs"`
	Zone       string             `json:"time_zone" readOnly:"true" required:"false" doc:"IANA name, fixed when the salon is made"`
	Currency   string             `json:"currency" doc:"ISO 4217 code" example:"EUR"`
	LengthUnit string             `json:"length_unit" doc:"For display: cm or in" enum:"cm,in"`
	HeatUnit   string             `json:"heat_unit" doc:"For display: C or F" enum:"C,F"`
	Address    string             `json:"address" doc:"Shown in messages and calendars"`
	Phone      string             `json:"phone" doc:"Number for clients"`
	Mail       string             `json:"mail" doc:"Address for clients"`
	Emergency  string             `json:"emergency" doc:"Number to call where the salon is when the face swells or breathing is hard, shown in aftercare and when product has to come off; empty until somebody gives it: then the words say to call the emergency services" example:"112"`
	ChairTime  map[string]float64 `json:"chair_time" required:"false" doc:"Constants of chair time that differ from the default; GET /chair-time-settings lists them with their ranges"`
}

type salonInput struct {
	Precondition
	Body SalonBody
}

func (s *Server) salonRoutes() {
	route(s, huma.Operation{OperationID: "get-salon", Method: http.MethodGet, Path: "/salon", Summary: "The salon"}, s.getSalon)
	route(s, huma.Operation{OperationID: "update-salon", Method: http.MethodPut, Path: "/salon", Summary: "Change the salon's settings"}, s.updateSalon)
}

func (s *Server) getSalon(ctx context.Context, _ *empty) (*found[SalonBody], error) {
	var n store.Salon
	err := s.inTx(ctx, func(t *store.Tx) (err error) { n, err = t.SalonRow(ctx); return err })
	if err != nil {
		return nil, err
	}
	return writeSalon(n)
}

func writeSalon(n store.Salon) (*found[SalonBody], error) {
	b := SalonBody{ID: n.ID, Name: n.Name, Zone: n.Zone, Currency: n.Currency, LengthUnit: n.LengthUnit, HeatUnit: n.HeatUnit,
		Address: n.Address, Phone: n.Phone, Mail: n.Mail, Emergency: n.Emergency}
	if err := json.Unmarshal(n.ChairTime, &b.ChairTime); err != nil {
		return nil, fmt.Errorf("api: chair time of salon: %w", err)
	}
	return &found[SalonBody]{ETag: etag(n.Version), Body: b}, nil
}

// CleanSalon cleans what clients see of a salon before it is stored, which are name,
// address, mail and phone, and notes what is wrong with them under their names behind
// prefix, such as "--".
func CleanSalon(f *scheduling.Faults, prefix string, n *store.Salon) {
	n.Name = text(f, prefix+"name", n.Name, 1, 120)
	n.Address = text(f, prefix+"address", n.Address, 0, 200)
	n.Mail = address(f, prefix+"mail", n.Mail)
	n.Phone = phone(f, prefix+"phone", n.Phone, "")
}

var shortNumber = regexp.MustCompile(`^[0-9]{2,6}$`)

func (s *Server) updateSalon(ctx context.Context, in *salonInput) (*found[SalonBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var f scheduling.Faults
	b := in.Body
	n := store.Salon{Version: version, LengthUnit: b.LengthUnit, HeatUnit: b.HeatUnit, Currency: b.Currency, Emergency: b.Emergency}
	n.Name, n.Address, n.Mail, n.Phone = b.Name, b.Address, b.Mail, b.Phone
	CleanSalon(&f, "", &n)
	if _, known := quoting.MinorDigits(b.Currency); !known {
		f.Addf("currency", "the ISO 4217 code of a currency in use, such as EUR", "is %q", b.Currency)
	}
	if b.Emergency != "" && !shortNumber.MatchString(b.Emergency) {
		f.Addf("emergency", "the number that is dialled for an ambulance where the salon is: 2 to 6 digits, such as 112, 911 or 999; empty when nobody knows it", "is %q", b.Emergency)
	}
	if _, err := chairTimeWith(&f, "chair_time", b.ChairTime); err != nil {
		return nil, err
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	if b.ChairTime == nil {
		b.ChairTime = map[string]float64{}
	}
	if n.ChairTime, err = json.Marshal(b.ChairTime); err != nil {
		return nil, err
	}
	err = s.inTx(ctx, func(t *store.Tx) (err error) { n, err = t.UpdateSalon(ctx, n); return err })
	if err != nil {
		return nil, err
	}
	return writeSalon(n)
}

// chairTimeWith lays a salon's own constants, found below field, over the
// defaults.
func chairTimeWith(f *scheduling.Faults, field string, own map[string]float64) (chairtime.Settings, error) {
	c := chairtime.Default()
	for _, name := range slices.Sorted(maps.Keys(own)) {
		if err := f.Join(field, c.Set(name, own[name])); err != nil {
			return c, err
		}
	}
	return c, f.Join(field, c.Validate())
}

// chairTime reads the constants of a salon's row.
func chairTime(n store.Salon) (chairtime.Settings, error) {
	var own map[string]float64
	if err := json.Unmarshal(n.ChairTime, &own); err != nil {
		return chairtime.Settings{}, fmt.Errorf("api: chair time of salon: %w", err)
	}
	var f scheduling.Faults
	c, err := chairTimeWith(&f, "chair_time", own)
	if err == nil {
		err = f.Err()
	}
	c.Units = unitsOf(n)
	return c, err
}

// unitsOf is what the salon measures in.
func unitsOf(n store.Salon) chairtime.Units {
	return chairtime.Units{Inches: n.LengthUnit == "in", Fahrenheit: n.HeatUnit == "F"}
}
