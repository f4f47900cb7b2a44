package api

import (
	"cmp"
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"unicode/utf8"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// MergeFileBody is one of two files that may be of the same person.
type MergeFileBody struct {
	ID         string `json:"id"`
	Name       string `json:"name"`
	Phone      string `json:"phone,omitempty"`
	Mail       string `json:"mail,omitempty"`
	Version    int64  `json:"version" doc:"The number in the ETag of the client"`
	Coming     int    `json:"visits_to_come"`
	Past       int    `json:"visits_past" doc:"Also those that did not take place"`
	Cards      int    `json:"record_cards"`
	Waiting    int    `json:"waiting_list_requests"`
	Screenings int    `json:"consultations"`
	Tests      int    `json:"notes_of_tests"`
	Consents   int    `json:"consents"`
	Hair       int    `json:"hair_measurements"`
	Choices    int    `json:"words_on_messages"`
	Messages   int    `json:"messages_waiting"`
	Links      int    `json:"own_links"`
	Feeds      int    `json:"calendar_addresses"`
}

// MergePreviewBody says what putting two files together would do.
type MergePreviewBody struct {
	Keep    MergeFileBody `json:"keep" doc:"The file that stays"`
	Other   MergeFileBody `json:"other" doc:"The file that is erased"`
	Reached ClientBody    `json:"afterwards" doc:"The client as she stands on file then"`
	Twice   []string      `json:"visits_at_one_time" nullable:"false" doc:"Why it cannot be done yet: visits on both files that one person cannot both come to"`
	Words   []string      `json:"words" nullable:"false" doc:"What is hit, for people"`
}

// MergeRequest names the other file of the same person.
type MergeRequest struct {
	Other   string `json:"other_id" maxLength:"64" doc:"The file that is erased"`
	Version int64  `json:"other_version" minimum:"1" maximum:"1000000000" doc:"As it was shown; if it was changed since, nothing is done"`
}

type (
	mergePreviewInput struct {
		ByID
		Other string `query:"other_id" maxLength:"64" doc:"The file that would be erased"`
	}
	mergeInput struct {
		ByID
		Precondition
		Repeatable
		Body MergeRequest
	}
)

func (s *Server) mergeRoutes() {
	route(s, huma.Operation{OperationID: "preview-merge", Method: http.MethodGet, Path: "/clients/{id}/merge",
		Summary: "What putting two files of the same person together would do"}, s.previewMerge)
	route(s, huma.Operation{OperationID: "merge-clients", Method: http.MethodPost, Path: "/clients/{id}/merge", DefaultStatus: http.StatusOK,
		Summary: "Put another file of the same person on this one and erase it", Errors: []int{http.StatusConflict},
		Description: "Visits with their record cards, money and messages, what is on record of hair and health with its dates, consents, and requests come onto this file. " +
			"Of what was said of messages a stop on either file holds. Links to the other file's pages and its calendar addresses lead nowhere afterwards, and links in messages of before lead to no page. It cannot be undone."},
		s.mergeClients)
}

// files reads two files, which have to be different ones.
func (s *Server) files(ctx context.Context, t *store.Tx, keep, other, field string) (a, b store.Client, err error) {
	if a, err = t.ClientByID(ctx, keep); err != nil {
		return a, b, err
	}
	b, err = t.ClientByID(ctx, other)
	switch {
	case is(err, scheduling.ErrNotFound):
		err = &scheduling.InvalidError{Field: field, Problem: "is not a client of this salon", Want: "the id of the other file of the same person"}
	case err == nil && a.ID == b.ID:
		err = &scheduling.InvalidError{Field: field, Problem: "is the same file", Want: "the id of the other file of the same person"}
	}
	return a, b, err
}

func (s *Server) previewMerge(ctx context.Context, in *mergePreviewInput) (*found[MergePreviewBody], error) {
	var out found[MergePreviewBody]
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		a, b, err := s.files(ctx, t, in.ID, in.Other, "query.other_id")
		if err != nil {
			return err
		}
		p := MergePreviewBody{Reached: writeClient(oneClient(a, b))}
		for _, x := range []struct {
			of store.Client
			to *MergeFileBody
		}{{a, &p.Keep}, {b, &p.Other}} {
			c, err := t.CountOfClient(ctx, x.of.ID, s.now())
			if err != nil {
				return err
			}
			*x.to = MergeFileBody{ID: x.of.ID, Name: clientName(x.of), Phone: x.of.Phone, Mail: x.of.Mail, Version: x.of.Version, Coming: c.Coming, Past: c.Past, Cards: c.Cards,
				Waiting: c.Waiting, Screenings: c.Screenings, Tests: c.Tests, Consents: c.Consents, Hair: c.Hair, Choices: c.Choices, Messages: c.Messages, Links: c.Links, Feeds: c.Feeds}
		}
		if p.Twice, err = s.visitsTwice(ctx, t, n, a.ID, b.ID); err != nil {
			return err
		}
		p.Words = p.words()
		out.Body, out.ETag = p, etag(a.Version)
		return nil
	})
	return &out, err
}

// visitsTwice says which visits on two files one person cannot both come to.
func (s *Server) visitsTwice(ctx context.Context, t *store.Tx, n salonDay, keep, other string) ([]string, error) {
	out := []string{}
	pairs, err := t.VisitsTwice(ctx, keep, other)
	if err != nil {
		return out, err
	}
	for _, p := range pairs {
		list, err := t.VisitsByID(ctx, p[:])
		if err != nil {
			return out, err
		}
		var starts []string
		for _, v := range list {
			starts = append(starts, v.Start.In(n.loc).Format("2 January 15:04"))
		}
		out = append(out, "both files have a visit at one time, from "+strings.Join(starts, " and from "))
	}
	return out, nil
}

// words say what is hit.
func (p MergePreviewBody) words() []string {
	var moves, ends []string
	count := func(to *[]string, n int, one, many string) {
		switch {
		case n == 1:
			*to = append(*to, "1 "+one)
		case n > 1:
			*to = append(*to, fmt.Sprintf("%d %s", n, many))
		}
	}
	o := p.Other
	count(&moves, o.Coming, "visit to come", "visits to come")
	count(&moves, o.Past, "visit of before", "visits of before")
	count(&moves, o.Cards, "record card", "record cards")
	count(&moves, o.Waiting, "waiting-list request", "waiting-list requests")
	count(&moves, o.Screenings, "consultation with its date", "consultations with their dates")
	count(&moves, o.Tests, "note of tests", "notes of tests")
	count(&moves, o.Consents, "consent", "consents")
	count(&moves, o.Hair, "measurement of her hair", "measurements of her hair")
	count(&moves, o.Choices, "word on messages", "words on messages")
	count(&ends, o.Links, "link to her own pages", "links to her own pages")
	count(&ends, o.Feeds, "calendar address", "calendar addresses")
	out := []string{"nothing stands on the other file"}
	if len(moves) > 0 {
		out[0] = "onto this file come: " + strings.Join(moves, ", ")
	}
	if len(ends) > 0 {
		out = append(out, "these lead nowhere afterwards: "+strings.Join(ends, ", "))
	}
	if o.Messages > 0 {
		out = append(out, fmt.Sprintf("messages that wait (%d) go where this file says", o.Messages))
	}
	return append(out, "links in messages of before lead to her pages no more",
		"a kind of message that is not wished on either file is not sent", "the other file is erased, and nothing of this can be undone")
}

// mostNote is how long what is good to know of a client may be, in characters, as in the
// body of a client.
const mostNote = 500

// oneClient is the client of a, with what only stands on b. Of two ways to be reached
// the stricter counts: who wishes no messages gets none. An answer counts more than
// none.
func oneClient(a, b store.Client) store.Client {
	out := a
	out.FamilyName, out.Phone, out.Mail = cmp.Or(a.FamilyName, b.FamilyName), cmp.Or(a.Phone, b.Phone), cmp.Or(a.Mail, b.Mail)
	out.Growth = cmp.Or(a.Growth, b.Growth)
	switch {
	case a.ContactBy == wayNone || b.ContactBy == wayNone:
		out.ContactBy = wayNone
	case a.ContactBy == wayNotAsked:
		out.ContactBy = b.ContactBy
	}
	if out.Note = cmp.Or(a.Note, b.Note); a.Note != "" && b.Note != "" && a.Note != b.Note {
		if both := a.Note + " / " + b.Note; utf8.RuneCountInString(both) <= mostNote {
			out.Note = both
		}
	}
	return out
}

func (s *Server) mergeClients(ctx context.Context, in *mergeInput) (*created[ClientBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	out, err := once(s, ctx, in.Repeatable, "/clients/"+in.ID+"/merge", in.Body, func(t *store.Tx) (*created[ClientBody], error) {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return nil, err
		}
		c, err := s.mergeFiles(ctx, t, n, in.ID, version, in.Body)
		return &created[ClientBody]{Location: "/v1/clients/" + in.ID, ETag: etag(c.Version), Body: writeClient(c)}, err
	})
	if err == nil && out.Replayed == "" {
		s.accessNoted(ctx, slog.LevelInfo, "two files of a client put together", "client", in.ID, "erased", in.Body.Other)
	}
	return out, err
}

func (s *Server) mergeFiles(ctx context.Context, t *store.Tx, n salonDay, keep string, version int64, b MergeRequest) (store.Client, error) {
	a, other, err := s.files(ctx, t, keep, b.Other, "other_id")
	if err == nil {
		err = t.LockClients(ctx, a.ID, other.ID)
	}
	if err == nil { // as they stand now that nobody else changes them
		a, other, err = s.files(ctx, t, keep, b.Other, "other_id")
	}
	switch {
	case err != nil:
		return a, err
	case a.Version != version || other.Version != b.Version:
		return a, scheduling.ErrStale
	}
	if twice, err := s.visitsTwice(ctx, t, n, a.ID, other.ID); err != nil {
		return a, err
	} else if len(twice) > 0 {
		return a, conflict(twice[0] + ": move or cancel one of them first")
	}
	var before []person
	for _, id := range []string{a.ID, other.ID} {
		p, err := s.spokenToOf(ctx, t, n, id)
		if err != nil {
			return a, err
		}
		before = append(before, p)
	}
	was := []store.Client{a, other}
	if err := t.MergeClients(ctx, a.ID, other.ID, s.now()); err != nil {
		return a, err
	}
	if a, err = t.UpdateClient(ctx, oneClient(a, other)); err != nil {
		return a, err
	}
	if err := t.CloseOwnPages(ctx, a.ID, true, s.now()); err != nil {
		return a, err
	}
	if err := s.noteContacts(ctx, t, n, a.ID, before...); err != nil {
		return a, err
	}
	if err := s.noteKeptOf(ctx, t, n, a, was...); err != nil {
		return a, err
	}
	return a, followCare(ctx, t, n, a.ID, s.now())
}
