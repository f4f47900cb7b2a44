package api

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// PrivacyBody says how long answers about health stay, and who deletes.
type PrivacyBody struct {
	HealthMonths   int    `json:"health_months" minimum:"1" maximum:"120" doc:"Months after the last visit of a client after which what is on record of her health is erased; 12 to begin with"`
	ClientMayErase bool   `json:"client_may_erase,omitempty" doc:"A client of whom no visit has to stay on record may have everything about her deleted on her own pages; left out: the desk is asked"`
	HealthFrom     string `json:"health_from_date,omitempty" readOnly:"true" required:"false" format:"date" doc:"Nothing about health goes by this term before this day: two days after it was changed. Left out when it never was"`
}

// HealthReadBody says who did what with what is on record of a client's health,
// without any of it.
type HealthReadBody struct {
	ID        string    `json:"id"`
	About     string    `json:"about" enum:"consultation,skin_tests,strand_tests,reactions,overrides,needs,stops,tests" doc:"needs: what speaks against a visit, noted once an hour; tests: all of them, erased by age"`
	At        time.Time `json:"at"`
	What      string    `json:"what" enum:"read,made,decided,erased"`
	Role      string    `json:"role" doc:"Role of the token; retention: erased by age"`
	StaffID   string    `json:"staff_id,omitempty" doc:"Left out for a token that is nobody's own"`
	TokenID   string    `json:"token_id,omitempty"`
	Screening string    `json:"screening_id,omitempty" doc:"Left out unless about a consultation"`
	ClientID  string    `json:"client_id,omitempty" doc:"Left out when the client is gone"`
}

type privacyInput struct {
	Precondition
	Body PrivacyBody
}

type readQuery struct {
	Cursor string `query:"cursor" maxLength:"64" doc:"As in the Link header of the page before"`
	Limit  int    `query:"limit" minimum:"1" maximum:"200" default:"50"`
}

type readPage struct {
	Link string `header:"Link"`
	Body struct {
		Items []HealthReadBody `json:"items" nullable:"false"`
	}
}

func (s *Server) healthRoutes() {
	route(s, huma.Operation{OperationID: "get-privacy", Method: http.MethodGet, Path: "/privacy", Summary: "How long answers about health stay"}, s.getPrivacy)
	route(s, huma.Operation{OperationID: "set-privacy", Method: http.MethodPut, Path: "/privacy", Summary: "Change how long answers about health stay",
		Description: "Erases nothing by itself: a job does, once a day, and by another term not before two days have passed; preview-retention says how much goes first."}, s.setPrivacy)
	route(s, huma.Operation{OperationID: "list-health-reads", Method: http.MethodGet, Path: "/health-reads",
		Summary: "Who read, wrote, decided or erased answers about health, newest first"}, s.listHealthReads)
}

func (s *Server) getPrivacy(ctx context.Context, _ *empty) (*found[PrivacyBody], error) {
	var b PrivacyBody
	var version int64
	err := s.read(ctx, func(t *store.Tx) (err error) {
		if b.HealthMonths, version, err = t.HealthMonths(ctx); err != nil {
			return err
		}
		if b.ClientMayErase, err = t.ClientMayErase(ctx); err != nil {
			return err
		}
		b.HealthFrom, err = healthFrom(ctx, t)
		return err
	})
	if err != nil {
		return nil, err
	}
	return &found[PrivacyBody]{etag(version), b}, nil
}

// healthFrom is before which day nothing about health goes by its term, "" for no limit.
func healthFrom(ctx context.Context, t *store.Tx) (string, error) {
	from, err := t.HealthFrom(ctx)
	if err != nil || from.IsZero() {
		return "", err
	}
	return from.String(), nil
}

func (s *Server) setPrivacy(ctx context.Context, in *privacyInput) (*found[PrivacyBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var f scheduling.Faults
	f.Count("health_months", in.Body.HealthMonths, store.HealthAllowed.Least, store.HealthAllowed.Most)
	if err := f.Err(); err != nil {
		return nil, err
	}
	err = s.inTx(ctx, func(t *store.Tx) (err error) {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		if version, err = t.SetHealthMonths(ctx, version, in.Body.HealthMonths, n.today(s.now())); err != nil {
			return err
		}
		if in.Body.HealthFrom, err = healthFrom(ctx, t); err != nil {
			return err
		}
		return t.SetClientMayErase(ctx, version, in.Body.ClientMayErase)
	})
	if err != nil {
		return nil, err
	}
	return &found[PrivacyBody]{etag(version), in.Body}, nil
}

func (s *Server) listHealthReads(ctx context.Context, in *readQuery) (*readPage, error) {
	var rows []store.HealthRead
	var n salonDay
	err := s.read(ctx, func(t *store.Tx) (err error) {
		if n, err = loadSalon(ctx, t); err == nil {
			rows, err = t.HealthReads(ctx, in.Cursor, in.Limit+1)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	var out readPage
	if len(rows) > in.Limit {
		rows = rows[:in.Limit]
		out.Link = nextLink("/v1/health-reads", "", "", rows[len(rows)-1].ID, in.Limit)
	}
	out.Body.Items = listOf(rows, func(r store.HealthRead) HealthReadBody { return writeHealthRead(r, n.loc) }).Body.Items
	return &out, nil
}

func writeHealthRead(r store.HealthRead, loc *time.Location) HealthReadBody {
	return HealthReadBody{r.ID, r.About, r.At.In(loc), r.What, r.Role, r.Staff, r.Token, r.Screening, r.Client}
}
