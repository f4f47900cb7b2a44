package api

import (
	"context"
	"errors"
	"strings"
	"sync"

	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/store"
)

// shipped is the language that comes with the program.
const shipped = "en"

// languagesKept is how many parsed files are kept in memory; beyond that all are
// parsed anew (judgement).
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
