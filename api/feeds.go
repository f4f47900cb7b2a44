package api

import (
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// FeedBody is a secret calendar address.
type FeedBody struct {
	ID       string     `json:"id" readOnly:"true" required:"false"`
	Kind     string     `json:"kind" enum:"staff,station,client,salon" doc:"Whose calendar: a person's, a chair's or basin's, a client's or the whole salon's"`
	Subject  string     `json:"subject_id,omitempty" maxLength:"64" doc:"Whose calendar it is; left out for the salon's"`
	Label    string     `json:"label,omitempty" doc:"What the address is for, such as whose phone; it is shown in this list only"`
	URL      string     `json:"url,omitempty" readOnly:"true" required:"false" doc:"Shown once, when the address is made or changed: whoever has it can read the calendar"`
	Webcal   string     `json:"webcal_url,omitempty" readOnly:"true" required:"false" doc:"The same address as phones subscribe to it; shown once"`
	Page     string     `json:"page_url,omitempty" readOnly:"true" required:"false" doc:"A page that helps to subscribe; shown once, and as secret as the address"`
	FreeBusy string     `json:"free_busy_url,omitempty" readOnly:"true" required:"false" doc:"When a person is busy, without saying with what; shown once"`
	Created  time.Time  `json:"created_at" readOnly:"true" required:"false"`
	Rotated  *time.Time `json:"rotated_at,omitempty" readOnly:"true" required:"false" doc:"When the address was changed last"`
	Revoked  *time.Time `json:"revoked_at,omitempty" readOnly:"true" required:"false"`
	LastUsed *time.Time `json:"last_used_at,omitempty" readOnly:"true" required:"false" doc:"When a calendar read the present address last, to within five minutes"`
}

type feedInput struct {
	Repeatable
	Body FeedBody
}

func (s *Server) feedRoutes() {
	route(s, huma.Operation{OperationID: "list-feeds", Method: http.MethodGet, Path: "/feeds",
		Summary: "Calendar addresses, without their secret; a stylist sees her own"}, s.listFeeds)
	route(s, huma.Operation{OperationID: "add-feed", Method: http.MethodPost, Path: "/feeds",
		Summary:     "Make a calendar address; a stylist makes her own",
		Description: "A repetition with the same Idempotency-Key makes no second one: as long as nobody has read the calendar the address is changed, and answered.", DefaultStatus: http.StatusCreated}, s.addFeed)
	route(s, huma.Operation{OperationID: "rotate-feed", Method: http.MethodPost, Path: "/feeds/{id}/rotate",
		Summary: "Change a calendar address: the old one ends at once, the events stay the same", Errors: []int{http.StatusConflict}}, s.rotateFeed)
	route(s, huma.Operation{OperationID: "revoke-feed", Method: http.MethodDelete, Path: "/feeds/{id}",
		Summary: "End a calendar address"}, s.revokeFeed)
}

func writeFeed(f store.Feed) FeedBody {
	return FeedBody{ID: f.ID, Kind: f.Kind, Subject: f.Subject, Label: f.Label, Created: f.Created, Rotated: f.Rotated,
		Revoked: f.Revoked, LastUsed: f.LastUsed}
}

// withSecret is f with the addresses that are shown once.
func (s *Server) withSecret(f store.Feed, secret string) FeedBody {
	b := writeFeed(f)
	b.URL, b.Webcal, b.Page = s.FeedURL(secret), s.webcalURL(secret), s.FeedPageURL(secret)
	if f.Kind == store.FeedStaff {
		b.FreeBusy = s.base + "/cal/" + secret + ".ifb"
	}
	return b
}

// feedPath is the address of a feed below the server's own.
func feedPath(secret string) string { return "/cal/" + secret + ".ics" }

// FeedURL is the whole address of a feed.
func (s *Server) FeedURL(secret string) string { return s.base + feedPath(secret) }

// FeedPageURL is the address of the page that helps to subscribe to a feed.
func (s *Server) FeedPageURL(secret string) string { return s.base + "/cal/" + secret }

// webcalURL is the address of a feed as phones subscribe to it.
func (s *Server) webcalURL(secret string) string {
	_, rest, _ := strings.Cut(s.FeedURL(secret), "://")
	return "webcal://" + rest
}

// onlyHer is the person whose calendar alone the caller may give out, "" when
// all are the caller's to give.
func onlyHer(ctx context.Context) (staff string, err error) {
	p := principal(ctx)
	if p.Role != store.LeadRole {
		return "", nil
	}
	if p.StaffID == "" {
		return "", newProblem(http.StatusForbidden, "forbidden", "this needs a stylist's own token, the desk or the owner")
	}
	return p.StaffID, nil
}

func (s *Server) listFeeds(ctx context.Context, _ *empty) (*listBody[FeedBody], error) {
	her, err := onlyHer(ctx)
	if err != nil {
		return nil, err
	}
	var rows []store.Feed
	err = s.read(ctx, func(t *store.Tx) (err error) { rows, err = t.Feeds(ctx, her); return err })
	return listOf(rows, writeFeed), err
}

func (s *Server) addFeed(ctx context.Context, in *feedInput) (*created[FeedBody], error) {
	her, err := onlyHer(ctx)
	if err != nil {
		return nil, err
	}
	if b := in.Body; her != "" && (b.Kind != store.FeedStaff || b.Subject != her) {
		return nil, newProblem(http.StatusForbidden, "forbidden", "a stylist makes an address for her own calendar; the desk or the owner makes the others")
	}
	var f scheduling.Faults
	label := text(&f, "label", in.Body.Label, 0, 80)
	if in.Body.Kind == store.FeedSalon && in.Body.Subject != "" && in.Body.Subject != principal(ctx).Salon {
		f.Add("subject_id", "is not the salon", "nothing, since it is the salon's own calendar")
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	var shown FeedBody
	out, err := once(s, ctx, in.Repeatable, "/feeds", in.Body, func(t *store.Tx) (*created[FeedBody], error) {
		row, secret, err := t.AddFeed(ctx, in.Body.Kind, in.Body.Subject, label)
		if is(err, scheduling.ErrNotFound) {
			who := map[string]string{store.FeedStaff: "somebody who works in", store.FeedStation: "a chair or basin in use in", store.FeedClient: "a client of"}[in.Body.Kind]
			return nil, &scheduling.InvalidError{Field: "subject_id", Problem: "is not known", Want: "the id of " + who + " this salon"}
		}
		shown = s.withSecret(row, secret)
		return &created[FeedBody]{Location: "/v1/feeds/" + row.ID, Body: writeFeed(row)}, err // the answer is kept: no secret in it
	})
	if err != nil {
		return nil, err
	}
	if out.Replayed == "" {
		out.Body = shown
		return out, nil
	}
	return out, s.inTx(ctx, func(t *store.Tx) error { return s.showAgain(ctx, t, &out.Body) })
}

// showAgain gives a feed whose first answer may have been lost another address, as
// long as nobody has read the calendar by the first one.
func (s *Server) showAgain(ctx context.Context, t *store.Tx, b *FeedBody) error {
	f, err := feedToChange(ctx, t, b.ID)
	if err != nil || f.Revoked != nil || f.LastUsed != nil {
		return err
	}
	f, secret, err := t.RotateFeed(ctx, b.ID)
	if err == nil {
		*b = s.withSecret(f, secret)
	}
	return err
}

// feedToChange is a feed that the caller may change or end. What is another's is
// as if it were not there.
func feedToChange(ctx context.Context, t *store.Tx, id string) (store.Feed, error) {
	her, err := onlyHer(ctx)
	if err != nil {
		return store.Feed{}, err
	}
	f, err := t.FeedByID(ctx, id)
	if err == nil && her != "" && (f.Kind != store.FeedStaff || f.Subject != her) {
		return f, scheduling.ErrNotFound
	}
	return f, err
}

func (s *Server) rotateFeed(ctx context.Context, in *ByID) (*found[FeedBody], error) {
	var out found[FeedBody]
	err := s.inTx(ctx, func(t *store.Tx) error {
		f, err := feedToChange(ctx, t, in.ID)
		if err != nil {
			return err
		}
		if f.Revoked != nil {
			return conflict("the address has ended: make a new one")
		}
		f, secret, err := t.RotateFeed(ctx, in.ID)
		if err != nil {
			return err
		}
		out.Body = s.withSecret(f, secret)
		return nil
	})
	return &out, err
}

func (s *Server) revokeFeed(ctx context.Context, in *ByID) (*empty, error) {
	return nil, s.inTx(ctx, func(t *store.Tx) error {
		if _, err := feedToChange(ctx, t, in.ID); err != nil {
			return err
		}
		return t.RevokeFeed(ctx, in.ID)
	})
}
