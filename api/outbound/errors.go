package outbound

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"net"
	"net/http"
)

// Fault says what kind of thing went wrong.
type Fault string

// Faults of an exchange.
const (
	BadAddress       Fault = "bad_address"        // what was typed in is not an address that may be used
	NotPublic        Fault = "not_public"         // the name leads into a network that is not public
	UnknownHost      Fault = "unknown_host"       // the name leads nowhere
	Unreachable      Fault = "unreachable"        // nobody answers there
	TooSlow          Fault = "too_slow"           // the time limit passed
	BadCertificate   Fault = "bad_certificate"    // the server cannot prove who it is
	TooLarge         Fault = "too_large"          // the answer passes a size limit
	BadRedirect      Fault = "bad_redirect"       // sent on to where the client does not go
	TooManyRedirects Fault = "too_many_redirects" // sent on too often
	BadAnswer        Fault = "bad_answer"         // the answer is not HTTP, or broken
)

// Error says why an exchange failed, in words that may be shown and logged: of
// the address they hold the host at most.
type Error struct {
	Fault Fault
	Host  string // as typed in or as a redirect named it, "" when there is none
	What  string // a clause, with the limit where there is one
	cause error  // context.Canceled or context.DeadlineExceeded, nothing else
}

// Error is the clause.
func (e *Error) Error() string { return e.What }

// Unwrap returns context.Canceled or context.DeadlineExceeded when the caller's
// context ended the exchange, else nil.
func (e *Error) Unwrap() error { return e.cause }

// nowhere is the error of a name under which nobody may be asked. The words are
// the same whatever the reason, since they would tell strangers which names the
// network of the service knows; where this machine may be reached they say why.
func (c *Client) nowhere(f Fault, host, why string) *Error {
	if !c.loopback {
		why = "is not the name of a public server that can be found"
	}
	return &Error{Fault: f, Host: host, What: host + " " + why}
}

// explain turns an error of the transport, whose text may hold the whole
// address, into one that may be shown.
func explain(ctx context.Context, host string, err error) *Error {
	if e, ok := errors.AsType[*Error](err); ok {
		return e
	}
	e := &Error{Fault: Unreachable, Host: host, What: host + " cannot be reached"}
	if errors.Is(ctx.Err(), context.Canceled) {
		e.What, e.cause = "the exchange with "+host+" was called off", context.Canceled
		return e
	}
	if ctx.Err() != nil || errors.Is(err, context.DeadlineExceeded) {
		e.Fault, e.What, e.cause = TooSlow, host+" takes too long to answer", context.DeadlineExceeded
		return e
	}
	if _, ok := errors.AsType[*tls.CertificateVerificationError](err); ok || certificateFault(err) {
		e.Fault, e.What = BadCertificate, host+" has no valid certificate"
		return e
	}
	if _, ok := errors.AsType[*net.OpError](err); ok {
		return e
	}
	e.Fault, e.What = BadAnswer, host+" gives an answer that cannot be read"
	return e
}

func certificateFault(err error) bool {
	_, unknown := errors.AsType[x509.UnknownAuthorityError](err)
	_, name := errors.AsType[x509.HostnameError](err)
	_, invalid := errors.AsType[x509.CertificateInvalidError](err)
	return unknown || name || invalid
}

// StatusWords says in words what a status means, such as "404 Not Found".
func StatusWords(status int) string {
	if s := http.StatusText(status); s != "" {
		return itoa(status) + " " + s
	}
	return itoa(status)
}
