//go:build unix

package main

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"io"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
	"chairblock/store/storetest"
)

// pair makes a certificate for salon.example and 127.0.0.1 and its key in dir.
func pair(t *testing.T, dir string, from, until time.Time) (cert, key string, x *x509.Certificate) {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	number, err := rand.Int(rand.Reader, big.NewInt(1<<62))
	require.NoError(t, err)
	plan := &x509.Certificate{SerialNumber: number, NotBefore: from, NotAfter: until, DNSNames: []string{"salon.example"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}}
	der, err := x509.CreateCertificate(rand.Reader, plan, plan, k.Public(), k)
	require.NoError(t, err)
	x, err = x509.ParseCertificate(der)
	require.NoError(t, err)
	secret, err := x509.MarshalPKCS8PrivateKey(k)
	require.NoError(t, err)
	cert, key = filepath.Join(dir, "salon.crt"), filepath.Join(dir, "salon.key")
	replace(t, cert, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}))
	replace(t, key, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret}))
	return cert, key, x
}

// replace puts a new file in the place of another one, as programs that renew
// certificates do.
func replace(t *testing.T, path string, text []byte) {
	t.Helper()
	require.NoError(t, os.WriteFile(path+".new", text, 0o600))
	require.NoError(t, os.Rename(path+".new", path))
}

// greeted is the certificate that a new connection gets.
func greeted(t *testing.T, address string, settings *tls.Config) (*x509.Certificate, error) {
	t.Helper()
	settings.InsecureSkipVerify = true // which one it is, the test looks at itself
	c, err := (&tls.Dialer{Config: settings}).DialContext(t.Context(), "tcp", address)
	if err != nil {
		return nil, err
	}
	defer c.Close()
	return c.(*tls.Conn).ConnectionState().PeerCertificates[0], nil
}

func TestTheServiceEncryptsByItselfWithTheNewestCertificate(t *testing.T) {
	dir := t.TempDir()
	now := time.Now()
	cert, key, first := pair(t, dir, now.Add(-time.Hour), now.Add(90*24*time.Hour))
	ctx, stop := context.WithCancel(t.Context())
	st, err := store.Open(t.Context(), storetest.URL(t), 1)
	require.NoError(t, err)
	defer st.Close()
	r := &running{store: st, log: t.Logf}
	require.NoError(t, r.listen(Transport{Listen: "127.0.0.1:0", Cert: cert, Key: key}))
	r.api = api.New(st, r.url, time.Now)
	ended := make(chan error, 1)
	go func() { ended <- r.serve(ctx) }()
	defer func() {
		stop()
		require.NoError(t, <-ended)
		r.close()
	}()
	at := r.listener.Addr().String()
	require.Equal(t, "https://"+at, r.url, "links lead there")

	roots := x509.NewCertPool()
	roots.AddCert(first)
	way := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}, ForceAttemptHTTP2: true}
	defer way.CloseIdleConnections()
	res, err := (&http.Client{Transport: way}).Get(r.url + "/healthz")
	require.NoError(t, err, "a client that trusts who signed the certificate is let in")
	require.NoError(t, res.Body.Close())
	require.Equal(t, http.StatusOK, res.StatusCode)
	require.NotEmpty(t, res.Header.Get("Strict-Transport-Security"))
	require.Equal(t, 1, res.ProtoMajor)

	res, err = http.Get("http://" + at + "/healthz")
	require.NoError(t, err)
	said, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	require.NoError(t, res.Body.Close())
	require.Equal(t, http.StatusBadRequest, res.StatusCode, "nothing is answered in the clear")
	require.NotContains(t, string(said), "status")

	_, err = greeted(t, at, &tls.Config{MinVersion: tls.VersionTLS10, MaxVersion: tls.VersionTLS11})
	require.ErrorContains(t, err, "protocol version")
	_, err = greeted(t, at, &tls.Config{MaxVersion: tls.VersionTLS12, CipherSuites: []uint16{tls.TLS_ECDHE_ECDSA_WITH_AES_128_CBC_SHA}})
	require.ErrorContains(t, err, "handshake failure")
	_, err = greeted(t, at, &tls.Config{MaxVersion: tls.VersionTLS12})
	require.NoError(t, err)

	// Renewed: the two files change one after the other, and neither moment lets anybody down.
	told := &process{} // which other goroutines may write to
	usual := slog.Default()
	slog.SetDefault(slog.New(slog.NewTextHandler(told, nil)))
	defer slog.SetDefault(usual)
	newCert, newKey, second := pair(t, t.TempDir(), now.Add(-time.Hour), now.Add(60*24*time.Hour))
	for i, x := range []struct {
		from, to string
		want     *x509.Certificate
		says     string
	}{{newCert, cert, first, "is not the key of the certificate of --tls-cert-file"}, {newKey, key, second, "a new certificate is used"}} {
		text, err := os.ReadFile(x.from)
		require.NoError(t, err)
		replace(t, x.to, text)
		for range 2 {
			got, err := greeted(t, at, &tls.Config{})
			require.NoError(t, err)
			require.Equal(t, x.want.SerialNumber, got.SerialNumber, i)
		}
		require.Contains(t, told.said(), x.says)
		require.Equal(t, i+1, strings.Count(told.said(), "\n"), "each is told once: %s", told.said())
	}
	pair(t, dir, now.Add(-48*time.Hour), now.Add(-24*time.Hour))
	got, err := greeted(t, at, &tls.Config{})
	require.NoError(t, err)
	require.Equal(t, second.SerialNumber, got.SerialNumber, "one that has ended is no better")
	require.NoError(t, os.Remove(cert))
	_, err = greeted(t, at, &tls.Config{})
	require.NoError(t, err)
}

func TestACertificateThatCannotBeUsedIsNamedWithItsSetting(t *testing.T) {
	t.Parallel()
	now := time.Now()
	dir := t.TempDir()
	cert, key, _ := pair(t, dir, now.Add(-time.Hour), now.Add(90*24*time.Hour))
	_, other, _ := pair(t, t.TempDir(), now.Add(-time.Hour), now.Add(time.Hour))
	oldCert, oldKey, _ := pair(t, t.TempDir(), now.Add(-48*time.Hour), now.Add(-24*time.Hour))
	newCert, newKey, _ := pair(t, t.TempDir(), now.Add(24*time.Hour), now.Add(48*time.Hour))
	for want, x := range map[string]Transport{
		`^--tls-key-file is left out beside --tls-cert-file; expected both`:                  {Cert: cert},
		`^--tls-cert-file is left out beside --tls-key-file; expected both`:                  {Key: key},
		`^--tls-cert-file cannot be read: open \S+/gone.crt: no such file`:                   {Cert: dir + "/gone.crt", Key: key},
		`^--tls-key-file cannot be read: open \S+/gone.key: no such file`:                    {Cert: cert, Key: dir + "/gone.key"},
		`^--tls-cert-file names \S+salon.key, in which no certificate can be read; expected`: {Cert: key, Key: cert},
		`^--tls-key-file names \S+salon.crt, in which no private key can be read; expected`:  {Cert: cert, Key: cert},
		`^--tls-key-file names \S+, which is not the key of the certificate of --tls-cert`:   {Cert: cert, Key: other},
		`^--tls-cert-file names a certificate that ended on \S+ \S+ UTC; expected`:           {Cert: oldCert, Key: oldKey},
		`^--tls-cert-file names a certificate that begins on \S+ \S+ UTC; expected`:          {Cert: newCert, Key: newKey},
		`^--url begins with http:// although --tls-cert-file .*; expected`:                   {Cert: cert, Key: key, URL: "http://salon.example"},
	} {
		_, err := x.certificate()
		require.Error(t, err, want)
		require.Regexp(t, want, err.Error())
		require.NotContains(t, err.Error(), "PRIVATE KEY")
	}
}

func TestTheDoctorLooksAtHowTheServiceIsReached(t *testing.T) {
	t.Parallel()
	now := time.Now()
	long, longKey, _ := pair(t, t.TempDir(), now.Add(-time.Hour), now.Add(90*24*time.Hour))
	late, lateKey, _ := pair(t, t.TempDir(), now.Add(-80*24*time.Hour), now.Add(10*24*time.Hour))
	short, shortKey, _ := pair(t, t.TempDir(), now.Add(-time.Hour), now.Add(6*24*time.Hour))
	open, openKey, _ := pair(t, t.TempDir(), now.Add(-time.Hour), now.Add(90*24*time.Hour))
	require.NoError(t, os.Chmod(openKey, 0o644))
	old, oldKey, _ := pair(t, t.TempDir(), now.Add(-48*time.Hour), now.Add(-24*time.Hour))
	for _, x := range []struct {
		at   Transport
		want verdict
		says string
	}{
		{Transport{Listen: "127.0.0.1:8080"}, well, "only this machine"},
		{Transport{Listen: "localhost:8080"}, well, "only this machine"},
		{Transport{Listen: "[::1]:8080"}, well, "only this machine"},
		{Transport{Listen: ":8080"}, mind, "open to other machines and nothing encrypts"},
		{Transport{Listen: "0.0.0.0:8080"}, mind, "open to other machines and nothing encrypts"},
		{Transport{Listen: "salon.example:8080"}, mind, "open to other machines and nothing encrypts"},
		{Transport{Listen: ":8080", Proxies: []string{"10.0.0.1"}}, well, "a proxy is named"},
		{Transport{Listen: ":8443", Cert: long, Key: longKey, URL: "https://salon.example"}, well, "encrypted with a certificate that counts until"},
		{Transport{Listen: ":8443", Cert: long, Key: longKey, URL: "https://other.example"}, mind, "is not for other.example"},
		{Transport{Listen: ":8443", Cert: late, Key: lateKey}, mind, "ends on "},
		{Transport{Listen: ":8443", Cert: short, Key: shortKey}, well, "encrypted"},
		{Transport{Listen: ":8443", Cert: open, Key: openKey}, mind, "may read or change the key of --tls-key-file (mode 0644)"},
		{Transport{Listen: ":8443", Cert: old, Key: oldKey}, wrong, "ended on "},
	} {
		var f findings
		(&DoctorCmd{Transport: x.at}).transport(&f)
		require.Len(t, f, 1, x.says)
		require.Equal(t, x.want, f[0].verdict, "%+v", f[0])
		require.Contains(t, f[0].says, x.says)
	}
}
