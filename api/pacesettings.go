package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/pace"
	"chairblock/store"
)

type paceSettingsInput struct {
	Precondition
	Body PaceSettingsBody
}

func (s *Server) paceRoutes() {
	route(s, huma.Operation{OperationID: "get-pace-settings", Method: http.MethodGet, Path: "/pace-settings",
		Summary: "How the salon learns from its records"}, s.getPaceSettings)
	route(s, huma.Operation{OperationID: "set-pace-settings", Method: http.MethodPut, Path: "/pace-settings",
		Summary: "Switch learning off or on, count from a day, change its constants; everything is worked out anew at once"}, s.setPaceSettings)
	route(s, huma.Operation{OperationID: "report-pace", Method: http.MethodGet, Path: "/reports/pace",
		Summary: "Were promises kept, and how quickly does everybody work beside the sheet?"}, s.reportPace)
}

func writePaceSettings(n store.Salon) (*found[PaceSettingsBody], error) {
	b, err := paceSettings(n)
	if err != nil {
		return nil, err
	}
	var f scheduling.Faults
	c, err := b.constants(&f)
	if err != nil {
		return nil, err
	}
	b.List = make([]SettingBody, 0, len(pace.List()))
	for _, x := range pace.List() {
		v, _ := c.Value(x.Name)
		b.List = append(b.List, SettingBody{Name: x.Name, Label: x.Label, Unit: x.Unit, Value: v, Default: x.Default, Min: x.Min, Max: x.Max, Whole: x.Whole, Source: x.Source})
	}
	return &found[PaceSettingsBody]{ETag: etag(n.Version), Body: b}, nil
}

func (s *Server) getPaceSettings(ctx context.Context, _ *empty) (*found[PaceSettingsBody], error) {
	var n store.Salon
	err := s.inTx(ctx, func(t *store.Tx) (err error) { n, err = t.SalonRow(ctx); return err })
	if err != nil {
		return nil, err
	}
	return writePaceSettings(n)
}

func (s *Server) setPaceSettings(ctx context.Context, in *paceSettingsInput) (*found[PaceSettingsBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	b := in.Body
	b.List = nil
	var n salonDay
	err = s.inTx(ctx, func(t *store.Tx) error {
		if err := b.check(ctx, t); err != nil {
			return err
		}
		doc, err := json.Marshal(b)
		if err != nil {
			return fmt.Errorf("api: pace settings: %w", err)
		}
		if _, err = t.SetPaceSettings(ctx, version, doc); err != nil {
			return err
		}
		if n, err = loadSalon(ctx, t); err != nil {
			return err
		}
		return s.refit(ctx, t, n)
	})
	if err != nil {
		return nil, err
	}
	return writePaceSettings(n.row)
}

// check notes every fault of b, people who do not work here among them.
func (b *PaceSettingsBody) check(ctx context.Context, t *store.Tx) error {
	var f scheduling.Faults
	if b.CountsFrom != "" {
		day(&f, "counts_from", b.CountsFrom)
	}
	seen := map[string]bool{}
	for i, p := range b.Staff {
		at := index("staff", i)
		switch _, err := t.StaffByID(ctx, p.StaffID); {
		case is(err, scheduling.ErrNotFound):
			f.Add(at+".staff_id", "is not known", "the id of a person of this salon")
		case err != nil:
			return err
		case seen[p.StaffID]:
			f.Add(at+".staff_id", "is named a second time", "each person once")
		}
		seen[p.StaffID] = true
		if p.CountsFrom != "" {
			day(&f, at+".counts_from", p.CountsFrom)
		}
	}
	if _, err := b.constants(&f); err != nil {
		return err
	}
	slices.SortStableFunc(f, func(x, y *scheduling.InvalidError) int { return strings.Compare(x.Field, y.Field) })
	return f.Err()
}
