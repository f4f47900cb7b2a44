package api

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// Repeatable is the header that makes a repeated request have one effect
// (draft of the HTTP API working group; the key may be quoted).
type Repeatable struct {
	Key string `header:"Idempotency-Key" maxLength:"255" doc:"Any text unique to this request, such as a UUID"`
}

func (i Repeatable) key() string {
	k := strings.TrimSpace(i.Key)
	if q, err := strconv.Unquote(k); err == nil && strings.HasPrefix(k, `"`) {
		return strings.TrimSpace(q)
	}
	return k
}

// Resolve notes a key that is not plain text.
func (i *Repeatable) Resolve(huma.Context) []error {
	if strings.ContainsFunc(i.key(), func(r rune) bool { return r < ' ' || r > '~' }) {
		return []error{&huma.ErrorDetail{Location: "header.Idempotency-Key", Message: "expected printable ASCII characters"}}
	}
	return nil
}

// once carries out a request that may be repeated. With a key, the answer is
// kept in the transaction of its effect and given again to a repetition; a
// clash with another visit is an answer, too. Without a key the request is
// simply carried out. A body with words about health is given as its
// store.SealedPrints.
func once[T any](s *Server, ctx context.Context, in Repeatable, path string, body any,
	f func(*store.Tx) (*created[T], error)) (*created[T], error) {
	return onceOf(s, ctx, principal(ctx).TokenID, in, path, body, f)
}

// onceOf is once for a request that may be repeated by whom by names, whatever
// token that is done with.
func onceOf[T any](s *Server, ctx context.Context, by string, in Repeatable, path string, body any,
	f func(*store.Tx) (*created[T], error)) (out *created[T], err error) {
	if in.key() == "" {
		err = s.inTx(ctx, func(t *store.Tx) (err error) { out, err = f(t); return err })
		return out, err
	}
	call := store.Call{Principal: by, Method: http.MethodPost, Route: path, Key: in.key()}
	if prints, ok := body.(store.SealedPrints); ok {
		call.Fingerprint, call.Older = prints[0], prints[1:]
	} else {
		raw, err := json.Marshal(body)
		if err != nil {
			return nil, err
		}
		call.Fingerprint = fingerprint(string(raw))
	}
	var clash, asked error // asked: not one that was answered before
	err = s.inTx(ctx, func(t *store.Tx) error {
		out, clash, asked = nil, nil, nil
		old, ok, err := t.Begin(ctx, call)
		if err != nil {
			return err
		}
		if ok {
			out, clash, err = replay[T](old)
			return err
		}
		if onlyAgain(ctx) {
			return fmt.Errorf("api: %s: it was not carried out yet: %w", path, scheduling.ErrNotFound)
		}
		err = t.Savepoint(ctx, func(t *store.Tx) (err error) { out, err = f(t); return err })
		answer, kept, broken := answerTo(out, err)
		if broken != nil || !kept {
			return errors.Join(broken, err)
		}
		clash, asked = err, err
		return t.End(call, answer)
	})
	if err == nil {
		err = clash
		if asked != nil { // the answer is committed, and so nobody else counts it
			s.metrics.Happened(string(store.TimeTaken), 1)
		}
	}
	if err != nil {
		return nil, err
	}
	return out, nil
}

// repeatedError is a clash that was answered before.
type repeatedError struct{ clash *scheduling.ConflictError }

// Error is that of the clash.
func (e *repeatedError) Error() string { return e.clash.Error() }

// Unwrap returns the clash.
func (e *repeatedError) Unwrap() error { return e.clash }

// answerTo says what to keep of an outcome: a success or a clash. Faults of
// the request and failures are not kept, so that the key can be used again.
func answerTo[T any](out *created[T], err error) (a store.Answer, kept bool, broken error) {
	if err == nil {
		a = store.Answer{Status: http.StatusCreated, ETag: out.ETag, Location: out.Location}
		a.Body, broken = json.Marshal(out.Body)
		return a, true, broken
	}
	if e, ok := errors.AsType[*scheduling.ConflictError](err); ok {
		a.Status = http.StatusConflict
		a.Body, broken = json.Marshal(e.Reason)
		return a, true, broken
	}
	return a, false, nil
}

func replay[T any](a store.Answer) (*created[T], error, error) {
	if a.Status == http.StatusConflict {
		var reason string
		if err := json.Unmarshal(a.Body, &reason); err != nil {
			return nil, nil, err
		}
		return nil, &repeatedError{&scheduling.ConflictError{Reason: reason}}, nil
	}
	out := &created[T]{Location: a.Location, ETag: a.ETag, Replayed: "true"}
	return out, nil, json.Unmarshal(a.Body, &out.Body)
}

// nextLink is the Link header of RFC 8288 for the following page.
func nextLink(path, param, value, cursor string, limit int) string {
	q := url.Values{"cursor": {cursor}, "limit": {strconv.Itoa(limit)}}
	if value != "" {
		q.Set(param, value)
	}
	return "<" + path + "?" + q.Encode() + `>; rel="next"`
}

// fingerprint tells whether a repeated request is the same one.
func fingerprint(s string) []byte {
	sum := sha256.Sum256([]byte(s))
	return sum[:]
}

// needsKey refuses a request without the header that makes it safe to repeat.
func needsKey() error {
	return newProblem(http.StatusBadRequest, "idempotency-key", "send a text that is unique to this request, such as a UUID")
}
