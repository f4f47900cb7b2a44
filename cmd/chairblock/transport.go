package main

import (
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"log"
	"log/slog"
	"net"
	"net/netip"
	"net/url"
	"os"
	"strings"
	"sync"
	"time"

	"chairblock/scheduling"
)

// Transport says where the service listens, and how others reach it.
type Transport struct {
	Listen  string   `default:"127.0.0.1:8080" env:"LISTEN" help:"Address to listen on."`
	Cert    string   `name:"tls-cert-file" env:"TLS_CERT_FILE" placeholder:"FILE" help:"Certificate in PEM, those that vouch for it behind it, with which the service encrypts by itself. Read again when it changes. Left out: a proxy has to do that."`
	Key     string   `name:"tls-key-file" env:"TLS_KEY_FILE" placeholder:"FILE" help:"Private key of the certificate, in PEM and without a password."`
	Proxies []string `name:"trusted-proxy" env:"TRUSTED_PROXIES" placeholder:"NETWORK" help:"Address or network of a reverse proxy whose X-Forwarded-For is believed, such as 127.0.0.1 or 10.1.0.0/16. Several with commas."`
	URL     string   `name:"url" env:"CHAIRBLOCK_URL" placeholder:"URL" help:"Address under which others reach the service, for links; usually that of the reverse proxy."`
}

// The settings in errors.
const (
	certSetting = "--tls-cert-file"
	keySetting  = "--tls-key-file"
)

// encrypts reports whether the service itself is to speak TLS.
func (t Transport) encrypts() bool { return t.Cert != "" || t.Key != "" }

// certificate reads what the service encrypts with; nil where a proxy does that or
// nobody. It returns *scheduling.InvalidError.
func (t Transport) certificate() (*certificate, error) {
	switch {
	case !t.encrypts():
		return nil, nil
	case t.Cert == "":
		return nil, &scheduling.InvalidError{Field: certSetting, Problem: "is left out beside " + keySetting, Want: "both or neither"}
	case t.Key == "":
		return nil, &scheduling.InvalidError{Field: keySetting, Problem: "is left out beside " + certSetting, Want: "both or neither"}
	case strings.HasPrefix(t.URL, "http://"):
		return nil, &scheduling.InvalidError{Field: "--url", Problem: "begins with http:// although " + certSetting + " has the service encrypt", Want: "the address with https://"}
	}
	c := &certificate{cert: t.Cert, key: t.Key, now: time.Now}
	c.seen = c.stamps()
	var err error
	c.pair, err = c.read()
	return c, err
}

// A caution is something to look at of how the service is reached.
type caution struct{ says, remedy string }

// Bounds of what is called well of a certificate: clients of the public authorities renew
// with a third of the time left, so that a quarter is late, and two weeks are enough to
// act (judgement).
const (
	endsSoon  = 14 * 24 * time.Hour
	lateShare = 4
)

// cautions looks at the settings and, where there is one, at the certificate.
func (t Transport) cautions(c *certificate, now time.Time) []caution {
	if c == nil {
		if len(t.Proxies) == 0 && !loopback(t.Listen) {
			return []caution{{"--listen " + t.Listen + " is open to other machines and nothing encrypts: passwords could be read on the way",
				"name a certificate with " + certSetting + " and " + keySetting + ", or put a proxy with TLS in front and name it with --trusted-proxy"}}
		}
		return nil
	}
	var out []caution
	leaf := c.pair.Leaf
	left := leaf.NotAfter.Sub(now)
	if left < min(endsSoon, leaf.NotAfter.Sub(leaf.NotBefore)/lateShare) {
		out = append(out, caution{"the certificate of " + certSetting + " ends on " + minuteUTC(leaf.NotAfter), "have it renewed: browsers let nobody in afterwards; the new one is taken without a restart"})
	}
	if u, err := url.Parse(t.URL); err == nil && u.Hostname() != "" && leaf.VerifyHostname(u.Hostname()) != nil {
		out = append(out, caution{"the certificate of " + certSetting + " is not for " + u.Hostname() + ", the host of --url", "name the one for that host"})
	}
	if info, err := os.Stat(c.key); err == nil && info.Mode().Perm()&0o007 != 0 {
		out = append(out, caution{fmt.Sprintf("everybody on this machine may read or change the key of %s (mode %04o)", keySetting, info.Mode().Perm()), "take that right away: chmod o-rwx"})
	}
	return out
}

// loopback reports that only this machine reaches an address. A name that is not
// localhost may lead anywhere.
func loopback(listen string) bool {
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return false
	}
	a, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && a.Unmap().IsLoopback()
}

func minuteUTC(t time.Time) string { return t.UTC().Format("2006-01-02 15:04 UTC") }

// certificate is the pair of files that the service encrypts with. It is read again once
// they change; what cannot be used is told in the log, and the one before stays.
type certificate struct {
	cert, key string
	now       func() time.Time

	mu   sync.Mutex
	pair *tls.Certificate
	seen [2]stamp // of the files when they were read
}

// stamp tells one state of a file from another.
type stamp struct {
	info os.FileInfo // nil: there is none
}

func (a stamp) same(b stamp) bool {
	if a.info == nil || b.info == nil {
		return a.info == nil && b.info == nil
	}
	return os.SameFile(a.info, b.info) && a.info.ModTime().Equal(b.info.ModTime()) && a.info.Size() == b.info.Size()
}

func (c *certificate) stamps() (out [2]stamp) {
	for i, path := range []string{c.cert, c.key} {
		if info, err := os.Stat(path); err == nil {
			out[i].info = info
		}
	}
	return out
}

// read returns *scheduling.InvalidError that holds nothing of either file.
func (c *certificate) read() (*tls.Certificate, error) {
	fault := func(field, problem, want string) (*tls.Certificate, error) {
		return nil, &scheduling.InvalidError{Field: field, Problem: problem, Want: want}
	}
	chain, err := os.ReadFile(c.cert)
	if err != nil {
		return fault(certSetting, "cannot be read: "+err.Error(), "a file that this account may read")
	}
	secret, err := os.ReadFile(c.key)
	if err != nil {
		return fault(keySetting, "cannot be read: "+err.Error(), "a file that this account may read")
	}
	leaf, err := firstCertificate(chain)
	if err != nil {
		return fault(certSetting, "names "+c.cert+", in which no certificate can be read", "PEM that begins with -----BEGIN CERTIFICATE-----")
	}
	pair, err := tls.X509KeyPair(chain, secret)
	switch now := c.now(); {
	case err != nil && strings.Contains(err.Error(), "does not match"):
		return fault(keySetting, "names "+c.key+", which is not the key of the certificate of "+certSetting, "the two that were made together")
	case err != nil:
		return fault(keySetting, "names "+c.key+", in which no private key can be read", "PEM with a key and no password")
	case now.After(leaf.NotAfter):
		return fault(certSetting, "names a certificate that ended on "+minuteUTC(leaf.NotAfter), "one that counts today: have it renewed")
	case now.Before(leaf.NotBefore):
		return fault(certSetting, "names a certificate that begins on "+minuteUTC(leaf.NotBefore), "one that counts today, and a clock of this machine that is right")
	}
	return &pair, nil
}

// firstCertificate is the one of the service itself, which stands first.
func firstCertificate(chain []byte) (*x509.Certificate, error) {
	for block, rest := pem.Decode(chain); block != nil; block, rest = pem.Decode(rest) {
		if block.Type == "CERTIFICATE" {
			return x509.ParseCertificate(block.Bytes)
		}
	}
	return nil, errors.New("none")
}

// current is the pair to greet somebody with. It costs two looks at the file system.
func (c *certificate) current(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.stamps()
	if now[0].same(c.seen[0]) && now[1].same(c.seen[1]) {
		return c.pair, nil
	}
	c.seen = now
	if pair, err := c.read(); err != nil {
		slog.Warn("the certificate has changed and cannot be used: the one before stays", "until", minuteUTC(c.pair.Leaf.NotAfter), "err", err)
	} else {
		c.pair = pair
		slog.Info("a new certificate is used", "until", minuteUTC(pair.Leaf.NotAfter))
	}
	return c.pair, nil
}

// listener encrypts what another one takes, and answers nothing that comes in the clear.
// It speaks HTTP/1.1, for which the limits on slow and hostile clients are tested; of TLS
// 1.2 only what hides the past when a key gets out, and checks what it decrypts (RFC 9325
// 4.2 and RFC 7905).
func (c *certificate) listener(l net.Listener) net.Listener {
	return tls.NewListener(l, &tls.Config{
		GetCertificate: c.current,
		MinVersion:     tls.VersionTLS12,
		NextProtos:     []string{"http/1.1"},
		CipherSuites: []uint16{
			tls.TLS_ECDHE_ECDSA_WITH_AES_128_GCM_SHA256, tls.TLS_ECDHE_RSA_WITH_AES_128_GCM_SHA256,
			tls.TLS_ECDHE_ECDSA_WITH_AES_256_GCM_SHA384, tls.TLS_ECDHE_RSA_WITH_AES_256_GCM_SHA384,
			tls.TLS_ECDHE_ECDSA_WITH_CHACHA20_POLY1305_SHA256, tls.TLS_ECDHE_RSA_WITH_CHACHA20_POLY1305_SHA256,
		},
	})
}

// withoutHandshakes is a log for a server that listens to the whole world, whose attempts
// say nothing about the service and name the address of whoever made them.
func withoutHandshakes(out io.Writer) *log.Logger {
	return log.New(handshakesOut{out}, "", log.LstdFlags)
}

type handshakesOut struct{ to io.Writer }

// Write drops a line about a failed handshake.
func (w handshakesOut) Write(line []byte) (int, error) {
	if strings.Contains(string(line), "TLS handshake error") {
		return len(line), nil
	}
	return w.to.Write(line)
}
