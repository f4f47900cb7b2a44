package api

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/store"
)

// shipped is the language that comes with the program.
const shipped = "en"

// languagesKept is how many parsed files are kept in memory; beyond that all are
// parsed anew.
const languagesKept = 256

// languageCache keeps language files that were parsed. A version never comes twice,
// so that nothing in it grows old. The zero value is empty.
type languageCache struct {
	mu    sync.Mutex
	words map[int64]*notify.Words // by version, which is one of all salons
}

// of returns the parsed file of x, whose text is read with doc when it is new.
func (c *languageCache) of(version int64, doc func() (string, error)) (*notify.Words, error) {
	c.mu.Lock()
	w := c.words[version]
	c.mu.Unlock()
	if w != nil {
		return w, nil
	}
	text, err := doc()
	if err != nil {
		return nil, err
	}
	if w, err = notify.ParseWords([]byte(text)); err != nil {
		return nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.words == nil || len(c.words) >= languagesKept {
		c.words = map[int64]*notify.Words{}
	}
	c.words[version] = w
	return w, nil
}

// isFaulty reports whether err says what is wrong with a document.
func isFaulty(err error) bool {
	_, many := errors.AsType[scheduling.Faults](err)
	_, one := errors.AsType[*scheduling.InvalidError](err)
	return many || one
}

// LanguageBody is a salon's file of message texts in one language.
type LanguageBody struct {
	Document  json.RawMessage `json:"document" doc:"The texts of all messages, with the names of days and months and the forms of dates. GET /languages/en answers a model"`
	Tag       string          `json:"tag" readOnly:"true" required:"false"`
	Shipped   bool            `json:"shipped,omitempty" readOnly:"true" required:"false" doc:"It came with the program"`
	Missing   []string        `json:"missing" readOnly:"true" required:"false" nullable:"false" doc:"Texts that it lacks, which are English instead"`
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

// wordsFor is the first of the languages tags that the salon has, or English. A tag
// stands for the shorter ones that it begins with, too (RFC 4647 3.4): pt-br is
// looked for as pt-br and as pt. A file that cannot be read any more counts as none.
func (s *Server) wordsFor(ctx context.Context, t *store.Tx, tags ...string) (*notify.Words, error) {
	have, err := t.Languages(ctx)
	if err != nil {
		return nil, err
	}
	versions := map[string]int64{}
	for _, x := range have {
		versions[x.Tag] = x.Version
	}
	for _, tag := range tags {
		for ; tag != ""; tag = shorter(tag) {
			version, own := versions[tag]
			if own {
				w, err := s.languages.of(version, func() (string, error) { x, err := t.LanguageByTag(ctx, tag); return x.Doc, err })
				if faulty := isFaulty(err); err == nil || !faulty {
					return w, err
				}
			}
			if tag == shipped {
				return notify.English(), nil
			}
		}
	}
	return notify.English(), nil
}

// shorter leaves out the last part of a language tag, and a single letter before it,
// which only introduces it.
func shorter(tag string) string {
	i := strings.LastIndexByte(tag, '-')
	if i < 0 {
		return ""
	}
	if tag = tag[:i]; len(tag) > 2 && tag[len(tag)-2] == '-' {
		tag = tag[:len(tag)-2]
	}
	return tag
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
			b := LanguageInList{Tag: x.Tag, Missing: []string{}, Changed: localTime(&x.Changed, loc), ChangedBy: x.ChangedBy}
			w, err := s.languages.of(x.Version, func() (string, error) { x, err := t.LanguageByTag(ctx, x.Tag); return x.Doc, err })
			if faulty := isFaulty(err); err != nil && !faulty {
				return err
			}
			if b.Problem = "it lacks or contradicts what this version of the program needs"; err == nil {
				b.Missing, b.Problem = append(b.Missing, w.Missing()...), ""
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
		b.Missing = append(b.Missing, w.Missing()...)
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
