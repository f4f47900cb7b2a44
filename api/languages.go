package api

import (
	"context"
	"encoding/json"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/store"
)

// LanguageBody is a salon's file of message texts in one language.
type LanguageBody struct {
	Document  json.RawMessage `json:"document" doc:"The texts of all messages, with the names of days and months and the forms of dates. GET /languages/en answers a model"`
	Tag       string          `json:"tag" readOnly:"true" required:"false"`
	Shipped   bool            `json:"shipped,omitempty" readOnly:"true" required:"false" doc:"It came with the program"`
	Missing   []string        `json:"missing" readOnly:"true" required:"false" nullable:"false" doc:"Texts that it lacks, which are English instead"`
	Pages     []string        `json:"missing_pages,omitempty" readOnly:"true" required:"false" doc:"Texts of clients' own pages that it lacks, which are English instead"`
	Changed   *time.Time      `json:"changed_at,omitempty" readOnly:"true" required:"false"`
	ChangedBy string          `json:"changed_by,omitempty" readOnly:"true" required:"false"`
}

// LanguageInList is one language without its texts.
type LanguageInList struct {
	Tag       string     `json:"tag"`
	Shipped   bool       `json:"shipped,omitempty" doc:"It came with the program"`
	Used      bool       `json:"used,omitempty" doc:"Messages to clients who have named no language are written in it"`
	Missing   []string   `json:"missing" nullable:"false" doc:"Texts that it lacks, which are English instead"`
	Problem   string     `json:"problem,omitempty" doc:"It cannot be used by this version of the program; messages are English instead"`
	Changed   *time.Time `json:"changed_at,omitempty"`
	ChangedBy string     `json:"changed_by,omitempty"`
}

// TagPath is the path of one language.
type TagPath struct {
	Tag string `path:"tag" maxLength:"35" doc:"BCP 47 language tag" example:"en"`
}
type languageInput struct {
	TagPath
	IfMatch string `header:"If-Match" doc:"ETag as last read; required when the salon has a file of this language" example:"\"v3\""`
	Body    LanguageBody
}
type languageRemoval struct {
	TagPath
	Precondition
}

func (s *Server) languageRoutes() {
	route(s, huma.Operation{OperationID: "list-languages", Method: http.MethodGet, Path: "/languages",
		Summary: "Languages in which messages are written"}, s.listLanguages)
	route(s, huma.Operation{OperationID: "get-language", Method: http.MethodGet, Path: "/languages/{tag}",
		Summary: "The texts of messages in one language", Errors: []int{http.StatusNotFound}}, s.getLanguage)
	route(s, huma.Operation{OperationID: "set-language", Method: http.MethodPut, Path: "/languages/{tag}",
		Summary: "Add or replace the texts of messages in one language"}, s.setLanguage)
	route(s, huma.Operation{OperationID: "delete-language", Method: http.MethodDelete, Path: "/languages/{tag}",
		Summary: "Remove a language; of en, the salon's own texts", Errors: []int{http.StatusNotFound}}, s.deleteLanguage)
}

// tagOf reads the language of a path.
func tagOf(tag string) (string, error) {
	var f scheduling.Faults
	tag = languageOf(&f, "path.tag", tag)
	return tag, f.Err()
}

func (s *Server) listLanguages(ctx context.Context, _ *empty) (*listBody[LanguageInList], error) {
	var out listBody[LanguageInList]
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := t.SalonRow(ctx)
		if err != nil {
			return err
		}
		rules, err := messageRulesOf(n)
		if err != nil {
			return err
		}
		loc, err := n.Location()
		if err != nil {
			return err
		}
		rows, err := t.Languages(ctx)
		if err != nil {
			return err
		}
		own := false
		for _, x := range rows {
			own = own || x.Tag == shipped
			b, err := s.languageInList(ctx, t, x, loc)
			if err != nil {
				return err
			}
			out.Body.Items = append(out.Body.Items, b)
		}
		if !own {
			out.Body.Items = append([]LanguageInList{{Tag: shipped, Shipped: true, Missing: []string{}}}, out.Body.Items...)
		}
		used, err := s.wordsFor(ctx, t, rules.Language)
		for i := range out.Body.Items {
			out.Body.Items[i].Used = err == nil && strings.EqualFold(out.Body.Items[i].Tag, used.Tag())
		}
		return err
	})
	return &out, err
}

func (s *Server) languageInList(ctx context.Context, t *store.Tx, x store.Language, loc *time.Location) (LanguageInList, error) {
	b := LanguageInList{Tag: x.Tag, Missing: []string{}, Changed: localTime(&x.Changed, loc), ChangedBy: x.ChangedBy}
	w, err := s.languages.of(x.Version, func() (string, error) { x, err := t.LanguageByTag(ctx, x.Tag); return x.Doc, err })
	switch {
	case err == nil:
		b.Missing = append(b.Missing, w.Missing()...)
	case isFaulty(err):
		b.Problem, err = "it lacks or contradicts what this version of the program needs", nil
	}
	return b, err
}

func (s *Server) getLanguage(ctx context.Context, in *TagPath) (*found[LanguageBody], error) {
	tag, err := tagOf(in.Tag)
	if err != nil {
		return nil, err
	}
	var out *found[LanguageBody]
	err = s.read(ctx, func(t *store.Tx) error {
		x, err := t.LanguageByTag(ctx, tag)
		if is(err, scheduling.ErrNotFound) && tag == shipped {
			out = &found[LanguageBody]{Body: LanguageBody{Document: notify.EnglishFile(), Tag: shipped, Shipped: true, Missing: []string{}}}
			return nil
		}
		if err != nil {
			return err
		}
		out, err = s.writeLanguage(ctx, t, x)
		return err
	})
	return out, err
}

func (s *Server) writeLanguage(ctx context.Context, t *store.Tx, x store.Language) (*found[LanguageBody], error) {
	loc, err := zone(ctx, t)
	if err != nil {
		return nil, err
	}
	b := LanguageBody{Document: json.RawMessage(x.Doc), Tag: x.Tag, Missing: []string{}, Changed: localTime(&x.Changed, loc), ChangedBy: x.ChangedBy}
	if w, err := s.languages.of(x.Version, func() (string, error) { return x.Doc, nil }); err == nil {
		b.Missing, b.Pages = append(b.Missing, w.Missing()...), w.MissingPages()
	}
	return &found[LanguageBody]{etag(x.Version), b}, nil
}

func (s *Server) setLanguage(ctx context.Context, in *languageInput) (out *found[LanguageBody], err error) {
	tag, err := tagOf(in.Tag)
	if err != nil {
		return nil, err
	}
	var version int64
	if in.IfMatch != "" {
		if version, err = (Precondition{in.IfMatch}).version(); err != nil {
			return nil, err
		}
	}
	var f scheduling.Faults
	w, err := notify.ParseWords(in.Body.Document)
	if err := f.Join("document", err); err != nil {
		return nil, err
	}
	if w != nil && !strings.EqualFold(w.Tag(), tag) {
		f.Add("document.tag", "is another language than that of the address", tag)
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	err = s.inTx(ctx, func(t *store.Tx) error {
		if version == 0 {
			if _, err := t.LanguageByTag(ctx, tag); err == nil {
				_, err := Precondition{}.tag() // says that one is needed
				return err
			} else if !is(err, scheduling.ErrNotFound) {
				return err
			}
		}
		by, err := whoNotes(ctx, t)
		if err != nil {
			return err
		}
		x, err := t.SaveLanguage(ctx, store.Language{Tag: tag, Doc: string(in.Body.Document), Changed: s.now(), ChangedBy: by, Version: version})
		if err != nil {
			return err
		}
		out, err = s.writeLanguage(ctx, t, x)
		return err
	})
	return out, err
}

func (s *Server) deleteLanguage(ctx context.Context, in *languageRemoval) (*empty, error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	tag, err := tagOf(in.Tag)
	if err != nil {
		return nil, err
	}
	return nil, s.inTx(ctx, func(t *store.Tx) error { return t.DeleteLanguage(ctx, tag, version) })
}
