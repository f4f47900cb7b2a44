package api

import (
	"context"
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// StaffBody is a person who works in the salon.
type StaffBody struct {
	ID        string   `json:"id" readOnly:"true" required:"false"`
	Name      string   `json:"name" example:"Ada"`
	Initials  string   `json:"initials" doc:"Short code for the board" example:"A"`
	MayLead   bool     `json:"may_lead" doc:"Licensed to be in charge of a visit; otherwise an assistant"`
	Mail      string   `json:"mail" required:"false"`
	Skills    []string `json:"skills" nullable:"false" doc:"Services this person may lead, by the service's skill" example:"[\"straightening\"]"`
	LeavesOut []string `json:"leaves_out" required:"false" nullable:"false" maxItems:"60" doc:"Kinds of steps that this person does not do, as scheduling knows them; never why" example:"[\"apply\", \"neutral\"]"`
	// Clearing after a person's work is rarely wanted; 0 is usual.
	Changeover int  `json:"changeover_minutes" required:"false" doc:"Minutes kept free between two clients" minimum:"0" maximum:"240"`
	Active     bool `json:"active" readOnly:"true" required:"false"`
}

// StationBody is a chair, a basin or another place that is reserved.
type StationBody struct {
	ID         string `json:"id" readOnly:"true" required:"false"`
	Kind       string `json:"kind" doc:"chair, basin, or a kind of your own; cannot be changed later" example:"chair"`
	Name       string `json:"name" example:"Chair 1"`
	Changeover int    `json:"changeover_minutes" doc:"Minutes of clearing after each visit" minimum:"0" maximum:"240"`
	Active     bool   `json:"active" readOnly:"true" required:"false"`
}

// NewStaffBody is a person to be added.
type NewStaffBody struct {
	StaffBody
	OpenHours bool `json:"works_open_hours,omitempty" doc:"Her working week is the salon's opening hours as they are now; left out: none yet, and nothing can be booked with her"`
}

// NewStationsBody says how many chairs and basins are added.
type NewStationsBody struct {
	Chairs int           `json:"chairs,omitempty" minimum:"0" maximum:"30" doc:"At least one chair or basin is added"`
	Basins int           `json:"basins,omitempty" minimum:"0" maximum:"30"`
	Items  []StationBody `json:"items" readOnly:"true" required:"false" nullable:"false" doc:"What was added, each named by the first number that was free"`
}

type staffInput struct {
	Repeatable
	Body NewStaffBody
}
type staffChange struct {
	ByID
	Precondition
	Body StaffBody
}
type stationInput struct {
	Repeatable
	Body StationBody
}
type stationsInput struct {
	Repeatable
	Body NewStationsBody
}
type stationChange struct {
	ByID
	Precondition
	Body StationBody
}
type removal struct {
	ByID
	Precondition
}

func (s *Server) peopleRoutes() {
	route(s, huma.Operation{OperationID: "list-staff", Method: http.MethodGet, Path: "/staff", Summary: "Everybody who works here"}, s.listStaff)
	route(s, huma.Operation{OperationID: "get-staff", Method: http.MethodGet, Path: "/staff/{id}", Summary: "One person"}, s.getStaff)
	route(s, huma.Operation{OperationID: "add-staff", Method: http.MethodPost, Path: "/staff", Summary: "Add a person", DefaultStatus: http.StatusCreated}, s.addStaff)
	route(s, huma.Operation{OperationID: "update-staff", Method: http.MethodPut, Path: "/staff/{id}", Summary: "Change a person"}, s.updateStaff)
	route(s, huma.Operation{OperationID: "delete-staff", Method: http.MethodDelete, Path: "/staff/{id}", Summary: "Take a person off the staff"}, s.removeUnit)
	route(s, huma.Operation{OperationID: "list-stations", Method: http.MethodGet, Path: "/stations", Summary: "Chairs and basins"}, s.listStations)
	route(s, huma.Operation{OperationID: "get-station", Method: http.MethodGet, Path: "/stations/{id}", Summary: "One station"}, s.getStation)
	route(s, huma.Operation{OperationID: "add-station", Method: http.MethodPost, Path: "/stations", Summary: "Add a station", DefaultStatus: http.StatusCreated}, s.addStation)
	route(s, huma.Operation{OperationID: "add-stations", Method: http.MethodPost, Path: "/stations/several", Summary: "Add several stations at once", DefaultStatus: http.StatusCreated}, s.addStations)
	route(s, huma.Operation{OperationID: "update-station", Method: http.MethodPut, Path: "/stations/{id}", Summary: "Change a station"}, s.updateStation)
	route(s, huma.Operation{OperationID: "delete-station", Method: http.MethodDelete, Path: "/stations/{id}", Summary: "Take a station away"}, s.removeStation)
}

var (
	skillName = regexp.MustCompile(`^[a-z0-9][a-z0-9_]{0,40}$`)
	stepKind  = regexp.MustCompile(`^[a-z][a-z0-9_]{0,40}$`)
	kindName  = regexp.MustCompile(`^[a-z][a-z_]{0,30}$`)
)

func (b StaffBody) row() (store.Staff, error) {
	var f scheduling.Faults
	p := store.Staff{MayLead: b.MayLead, Skills: b.Skills}
	p.Name = text(&f, "name", b.Name, 1, 80)
	p.Initials = text(&f, "initials", b.Initials, 1, 6)
	p.Mail = address(&f, "mail", b.Mail)
	p.Changeover, p.Active = b.Changeover, true
	for i, k := range b.Skills {
		checkSkill(&f, index("skills", i), k)
	}
	p.LeavesOut = b.LeavesOut
	for i, k := range b.LeavesOut {
		if !stepKind.MatchString(k) {
			f.Add(index("leaves_out", i), "is not the kind of a step", "small letters, digits and _, such as apply")
		}
	}
	if len(b.LeavesOut) > 60 {
		f.Addf("leaves_out", "at most 60", "has %d entries", len(b.LeavesOut))
	}
	if len(b.Skills) > 100 {
		f.Addf("skills", "at most 100", "has %d entries", len(b.Skills))
	}
	return p, f.Err()
}

func checkSkill(f *scheduling.Faults, field, k string) {
	if !skillName.MatchString(k) {
		f.Addf(field, "small letters, digits and _, such as straightening", "is %q", k)
	}
}

func writeStaff(p store.Staff) StaffBody {
	if p.Skills == nil {
		p.Skills = []string{}
	}
	if p.LeavesOut == nil {
		p.LeavesOut = []string{}
	}
	return StaffBody{LeavesOut: p.LeavesOut, ID: p.ID, Name: p.Name, Initials: p.Initials, MayLead: p.MayLead, Mail: p.Mail, Skills: p.Skills,
		Changeover: p.Changeover, Active: p.Active}
}

func (s *Server) listStaff(ctx context.Context, _ *empty) (*listBody[StaffBody], error) {
	var rows []store.Staff
	err := s.inTx(ctx, func(t *store.Tx) (err error) { rows, err = t.StaffList(ctx); return err })
	return listOf(rows, writeStaff), err
}

func (s *Server) getStaff(ctx context.Context, in *ByID) (*found[StaffBody], error) {
	var p store.Staff
	err := s.inTx(ctx, func(t *store.Tx) (err error) { p, err = t.StaffByID(ctx, in.ID); return err })
	return &found[StaffBody]{etag(p.Version), writeStaff(p)}, err
}

func (s *Server) addStaff(ctx context.Context, in *staffInput) (*created[StaffBody], error) {
	p, err := in.Body.row()
	if err != nil {
		return nil, err
	}
	return once(s, ctx, in.Repeatable, "/staff", in.Body, func(t *store.Tx) (*created[StaffBody], error) {
		added, err := t.AddStaff(ctx, p)
		if err == nil && in.Body.OpenHours {
			err = worksOpenHours(ctx, t, added.ID)
		}
		return &created[StaffBody]{Location: "/v1/staff/" + added.ID, ETag: etag(added.Version), Body: writeStaff(added)}, err
	})
}

// worksOpenHours gives a new person the salon's opening hours as working week.
func worksOpenHours(ctx context.Context, t *store.Tx, staff string) error {
	if err := t.LockRota(ctx); err != nil {
		return err
	}
	week, err := t.OpeningHours(ctx)
	if err != nil || len(week) == 0 {
		return err
	}
	for i := range week {
		week[i].Kind = "work"
	}
	return t.SetStaffHours(ctx, staff, week)
}

func (s *Server) updateStaff(ctx context.Context, in *staffChange) (*found[StaffBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	p, err := in.Body.row()
	if err != nil {
		return nil, err
	}
	p.ID, p.Version = in.ID, version
	err = s.inTx(ctx, func(t *store.Tx) error {
		old, err := t.StaffByID(ctx, in.ID)
		if err != nil {
			return err
		}
		p.Active = old.Active // who has left does not come back by a change of name
		p, err = t.UpdateStaff(ctx, p)
		return err
	})
	return &found[StaffBody]{etag(p.Version), writeStaff(p)}, err
}

// removeUnit takes a person off the staff when no visit needs them any more.
func (s *Server) removeUnit(ctx context.Context, in *removal) (*empty, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	return nil, s.inTx(ctx, func(t *store.Tx) error {
		p, err := t.StaffByID(ctx, in.ID)
		if err != nil {
			return err
		}
		if p.Version != version {
			return scheduling.ErrStale
		}
		if err := unneeded(ctx, t, in.ID); err != nil {
			return err
		}
		p.Active = false
		_, err = t.UpdateStaff(ctx, p)
		return err
	})
}

// unneeded refuses to remove what visits still rely on.
func unneeded(ctx context.Context, t *store.Tx, unit string) error {
	if err := t.LockRota(ctx); err != nil {
		return err
	}
	busy, err := t.HasFutureBlocks(ctx, unit)
	if err != nil {
		return err
	}
	if busy {
		return newProblem(http.StatusConflict, "conflict", "visits still need it: move or cancel them first")
	}
	return nil
}

func (b StationBody) row() (store.Unit, error) {
	var f scheduling.Faults
	u := store.Unit{Kind: b.Kind, Changeover: b.Changeover, Active: true}
	u.Name = text(&f, "name", b.Name, 1, 80)
	switch {
	case !kindName.MatchString(b.Kind):
		f.Addf("kind", "chair, basin or another word in small letters", "is %q", b.Kind)
	case b.Kind == string(openings.Stylist) || b.Kind == string(openings.Assistant):
		f.Addf("kind", "a kind of station; people are added as staff", "is %q", b.Kind)
	}
	return u, f.Err()
}

func writeStation(u store.Unit) StationBody {
	return StationBody{ID: u.ID, Kind: u.Kind, Name: u.Name, Changeover: u.Changeover, Active: u.Active}
}

func (s *Server) listStations(ctx context.Context, _ *empty) (*listBody[StationBody], error) {
	var rows []store.Unit
	err := s.inTx(ctx, func(t *store.Tx) (err error) { rows, err = t.Stations(ctx); return err })
	return listOf(rows, writeStation), err
}

func (s *Server) getStation(ctx context.Context, in *ByID) (*found[StationBody], error) {
	var u store.Unit
	err := s.inTx(ctx, func(t *store.Tx) (err error) { u, err = t.StationByID(ctx, in.ID); return err })
	return &found[StationBody]{etag(u.Version), writeStation(u)}, err
}

func (s *Server) addStation(ctx context.Context, in *stationInput) (*created[StationBody], error) {
	u, err := in.Body.row()
	if err != nil {
		return nil, err
	}
	return once(s, ctx, in.Repeatable, "/stations", in.Body, func(t *store.Tx) (*created[StationBody], error) {
		added, err := t.AddStation(ctx, u)
		return &created[StationBody]{Location: "/v1/stations/" + added.ID, ETag: etag(added.Version), Body: writeStation(added)}, err
	})
}

// addStations adds chairs and basins by number.
func (s *Server) addStations(ctx context.Context, in *stationsInput) (*created[NewStationsBody], error) {
	in.Body.Items = nil
	if in.Body.Chairs+in.Body.Basins < 1 {
		return nil, &scheduling.InvalidError{Field: "chairs", Problem: "is 0, and there are no basins either", Want: "how many chairs or basins are added"}
	}
	return once(s, ctx, in.Repeatable, "/stations/several", in.Body, func(t *store.Tx) (*created[NewStationsBody], error) {
		there, err := t.Stations(ctx)
		if err != nil {
			return nil, err
		}
		out := &created[NewStationsBody]{Location: "/v1/stations", Body: in.Body}
		add := func(n int, u store.Unit, word string) error {
			for range n {
				u.Name = freeName(word, there)
				added, err := t.AddStation(ctx, u)
				if err != nil {
					return err
				}
				there = append(there, added)
				out.Body.Items = append(out.Body.Items, writeStation(added))
			}
			return nil
		}
		if err := add(in.Body.Chairs, store.Unit{Kind: "chair", Changeover: chairClearing, Active: true}, "Chair"); err != nil {
			return nil, err
		}
		return out, add(in.Body.Basins, store.Unit{Kind: "basin", Changeover: basinClearing, Active: true}, "Basin")
	})
}

// Usual minutes of clearing after a visit (judgement).
const (
	chairClearing = 3
	basinClearing = 2
)

// freeName is a word with the first number that no station in use has.
func freeName(word string, there []store.Unit) string {
	for n := 1; ; n++ {
		name := fmt.Sprintf("%s %d", word, n)
		if !slices.ContainsFunc(there, func(u store.Unit) bool { return u.Active && strings.EqualFold(u.Name, name) }) {
			return name
		}
	}
}

func (s *Server) updateStation(ctx context.Context, in *stationChange) (*found[StationBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	u, err := in.Body.row()
	if err != nil {
		return nil, err
	}
	u.ID, u.Version = in.ID, version
	err = s.inTx(ctx, func(t *store.Tx) error {
		old, err := t.StationByID(ctx, in.ID)
		if err != nil {
			return err
		}
		u.Active = old.Active
		if old.Kind != u.Kind {
			return &scheduling.InvalidError{Field: "kind", Problem: "cannot be changed", Want: old.Kind + ", or a new station"}
		}
		u, err = t.UpdateStation(ctx, u)
		return err
	})
	return &found[StationBody]{etag(u.Version), writeStation(u)}, err
}

func (s *Server) removeStation(ctx context.Context, in *removal) (*empty, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	return nil, s.inTx(ctx, func(t *store.Tx) error {
		u, err := t.StationByID(ctx, in.ID)
		if err != nil {
			return err
		}
		if u.Version != version {
			return scheduling.ErrStale
		}
		if err := unneeded(ctx, t, in.ID); err != nil {
			return err
		}
		u.Active = false
		_, err = t.UpdateStation(ctx, u)
		return err
	})
}
