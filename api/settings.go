package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/store"
)

// SettingBody is one constant of chair time.
type SettingBody struct {
	Name    string  `json:"name"`
	Label   string  `json:"label" doc:"In plain words"`
	Unit    string  `json:"unit"`
	Value   float64 `json:"value" doc:"What this salon uses"`
	Default float64 `json:"default"`
	Min     float64 `json:"min"`
	Max     float64 `json:"max"`
	Whole   bool    `json:"whole" doc:"Whole numbers only"`
	Source  string  `json:"source" doc:"Where the default comes from"`
}

// SettingsBody is every constant of chair time.
type SettingsBody struct {
	Items []SettingBody `json:"items" nullable:"false"`
}

// OwnSettings are the constants of chair time in which a salon differs.
type OwnSettings struct {
	Values map[string]float64 `json:"values" nullable:"false" maxProperties:"300" doc:"By name, every constant that differs from its default; all others are set to it" example:"{\"press_medium_seconds\": 3}"`
}

// ResetBody says which constants go back to their defaults.
type ResetBody struct {
	Names []string `json:"names,omitempty" nullable:"false" maxItems:"300" doc:"Left out or empty: all of them"`
}

// PreviewBody is what a change of the constants does to the reference heads.
type PreviewBody struct {
	Changes []SettingChange   `json:"changes" nullable:"false" doc:"Constants that would have another value, in the order of the list"`
	Heads   []HeadPreviewBody `json:"heads" nullable:"false" doc:"Seven heads that stand for what comes into a salon, worked out for one stylist without batches"`
}

// SettingChange is a constant that gets another value.
type SettingChange struct {
	Name  string  `json:"name"`
	Label string  `json:"label"`
	Unit  string  `json:"unit"`
	From  float64 `json:"from"`
	To    float64 `json:"to"`
}

// HeadPreviewBody is one of the reference heads before and after.
type HeadPreviewBody struct {
	Name       string         `json:"name" doc:"In plain words"`
	Before     HeadTotalsBody `json:"before"`
	After      HeadTotalsBody `json:"after"`
	Difference HeadTotalsBody `json:"difference" doc:"After less before"`
	Gained     []CautionBody  `json:"cautions_gained" nullable:"false"`
	Lost       []CautionBody  `json:"cautions_lost" nullable:"false"`
}

// HeadTotalsBody are the totals of one head.
type HeadTotalsBody struct {
	MeanMinutes           float64 `json:"mean_minutes"`
	PromiseMinutes        float64 `json:"promise_minutes" doc:"The salon's share of visits takes no longer; not rounded up"`
	BlockMinutes          int     `json:"block_minutes" doc:"What is booked"`
	ExposureMinutes       float64 `json:"first_strand_exposure_minutes" doc:"Product on the first section, expected"`
	BookedExposureMinutes float64 `json:"booked_exposure_minutes" doc:"The same as booked, with wait and walk"`
}

type settingsInput struct {
	Precondition
	Body OwnSettings
}

type resetInput struct {
	Precondition
	Body ResetBody
}

type previewInput struct{ Body OwnSettings }

func (s *Server) settingRoutes() {
	route(s, huma.Operation{OperationID: "list-chair-time-settings", Method: http.MethodGet, Path: "/chair-time-settings",
		Summary: "Every constant of chair time with default, range and source"}, s.chairTimeSettings)
	route(s, huma.Operation{OperationID: "set-chair-time-settings", Method: http.MethodPut, Path: "/chair-time-settings",
		Summary: "Replace the constants of chair time in which the salon differs"}, s.setChairTime)
	route(s, huma.Operation{OperationID: "reset-chair-time-settings", Method: http.MethodPost, Path: "/chair-time-settings/reset",
		Summary: "Set constants of chair time to their defaults"}, s.resetChairTime)
	route(s, huma.Operation{OperationID: "preview-chair-time-settings", Method: http.MethodPost, Path: "/chair-time-settings/preview",
		Summary: "See what other constants of chair time would do to seven heads; nothing is stored"}, s.previewChairTime)
}

func writeSettings(n store.Salon) (*found[SettingsBody], error) {
	c, err := chairTime(n)
	if err != nil {
		return nil, err
	}
	out := &found[SettingsBody]{ETag: etag(n.Version)}
	for _, x := range chairtime.List() {
		v, _ := c.Value(x.Name)
		out.Body.Items = append(out.Body.Items, SettingBody{x.Name, x.Label, x.Unit, v, x.Default, x.Min, x.Max, x.Whole, x.Source})
	}
	return out, nil
}

func (s *Server) chairTimeSettings(ctx context.Context, _ *empty) (*found[SettingsBody], error) {
	var n store.Salon
	err := s.inTx(ctx, func(t *store.Tx) (err error) { n, err = t.SalonRow(ctx); return err })
	if err != nil {
		return nil, err
	}
	return writeSettings(n)
}

// settings lays the values over the defaults. It returns Faults naming those that
// are no settings, that are outside their range, or that contradict each other.
func (b OwnSettings) settings() (chairtime.Settings, error) {
	var f scheduling.Faults
	c, err := chairTimeWith(&f, "values", b.Values)
	if err == nil {
		err = f.Err()
	}
	return c, err
}

func (s *Server) setChairTime(ctx context.Context, in *settingsInput) (*found[SettingsBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	c, err := in.Body.settings()
	if err != nil {
		return nil, err
	}
	return s.keepChairTime(ctx, version, func(store.Salon) (chairtime.Settings, error) { return c, nil })
}

// keepChairTime writes what change makes of the salon's constants, as far as it
// differs from the defaults.
func (s *Server) keepChairTime(ctx context.Context, version int64, change func(store.Salon) (chairtime.Settings, error)) (*found[SettingsBody], error) {
	var n store.Salon
	err := s.inTx(ctx, func(t *store.Tx) (err error) {
		if n, err = t.SalonRow(ctx); err != nil {
			return err
		}
		c, err := change(n)
		if err != nil {
			return err
		}
		own := map[string]float64{}
		for _, x := range chairtime.List() {
			if v, _ := c.Value(x.Name); v != x.Default {
				own[x.Name] = v
			}
		}
		doc, err := json.Marshal(own)
		if err != nil {
			return fmt.Errorf("api: chair time: %w", err)
		}
		n, err = t.SetChairTime(ctx, version, doc)
		return err
	})
	if err != nil {
		return nil, err
	}
	return writeSettings(n)
}

func (s *Server) resetChairTime(ctx context.Context, in *resetInput) (*found[SettingsBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var f scheduling.Faults
	plain := chairtime.Default()
	for i, name := range in.Body.Names {
		if _, ok := plain.Value(name); !ok {
			f.Add(index("names", i), "is not a setting of chair time", "a name from GET /chair-time-settings")
		}
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	return s.keepChairTime(ctx, version, func(n store.Salon) (chairtime.Settings, error) {
		if len(in.Body.Names) == 0 {
			return plain, nil
		}
		c, err := chairTime(n)
		if err != nil {
			return c, err
		}
		for _, name := range in.Body.Names {
			v, _ := plain.Value(name)
			if err := c.Set(name, v); err != nil {
				return c, err
			}
		}
		// A default may contradict what the salon has set beside it.
		if err := f.Join("names", c.Validate()); err != nil {
			return c, err
		}
		return c, f.Err()
	})
}

func (s *Server) previewChairTime(ctx context.Context, in *previewInput) (*struct{ Body PreviewBody }, error) {
	after, err := in.Body.settings()
	if err != nil {
		return nil, err
	}
	var n store.Salon
	err = s.inTx(ctx, func(t *store.Tx) (err error) { n, err = t.SalonRow(ctx); return err })
	if err != nil {
		return nil, err
	}
	before, err := chairTime(n)
	if err != nil {
		return nil, err
	}
	after.Units = before.Units
	out := &struct{ Body PreviewBody }{PreviewBody{Changes: []SettingChange{}}}
	for _, x := range chairtime.List() {
		from, _ := before.Value(x.Name)
		if to, _ := after.Value(x.Name); from != to {
			out.Body.Changes = append(out.Body.Changes, SettingChange{x.Name, x.Label, x.Unit, from, to})
		}
	}
	for _, x := range chairtime.ReferenceHeads() {
		h, err := previewHead(x, before, after)
		if err != nil {
			return nil, fmt.Errorf("api: reference head: %w", err)
		}
		out.Body.Heads = append(out.Body.Heads, h)
	}
	return out, nil
}

func previewHead(x chairtime.ReferenceHead, before, after chairtime.Settings) (HeadPreviewBody, error) {
	was, err := before.Estimate(x.Head)
	if err != nil {
		return HeadPreviewBody{}, err
	}
	now, err := after.Estimate(x.Head)
	if err != nil {
		return HeadPreviewBody{}, err
	}
	a, b := totalsOf(was), totalsOf(now)
	return HeadPreviewBody{Name: x.Name, Before: a, After: b, Difference: b.less(a),
		Gained: cautionsBeyond(now.Cautions, was.Cautions), Lost: cautionsBeyond(was.Cautions, now.Cautions)}, nil
}

func totalsOf(e chairtime.Estimate) HeadTotalsBody {
	return HeadTotalsBody{MeanMinutes: decimals(e.Mean, 2), PromiseMinutes: decimals(e.Promise, 2), BlockMinutes: e.Block,
		ExposureMinutes: decimals(e.FirstStrandExposure, 2), BookedExposureMinutes: decimals(e.BookedExposure, 2)}
}

func (b HeadTotalsBody) less(a HeadTotalsBody) HeadTotalsBody {
	return HeadTotalsBody{MeanMinutes: decimals(b.MeanMinutes-a.MeanMinutes, 2), PromiseMinutes: decimals(b.PromiseMinutes-a.PromiseMinutes, 2),
		BlockMinutes: b.BlockMinutes - a.BlockMinutes, ExposureMinutes: decimals(b.ExposureMinutes-a.ExposureMinutes, 2),
		BookedExposureMinutes: decimals(b.BookedExposureMinutes-a.BookedExposureMinutes, 2)}
}

// cautionsBeyond lists the cautions of list that others lacks at the same level.
func cautionsBeyond(list, others []chairtime.Caution) []CautionBody {
	out := []CautionBody{}
	for _, c := range list {
		if !slices.ContainsFunc(others, func(o chairtime.Caution) bool { return o.Code == c.Code && o.Level == c.Level }) {
			out = append(out, CautionBody{string(c.Level), c.Code, c.Text})
		}
	}
	return out
}
