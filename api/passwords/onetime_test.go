package passwords_test

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api/passwords"
)

// The times and codes of RFC 6238, appendix B, for SHA-1; it gives eight digits, of
// which six are the last.
var published = []struct {
	unix int64
	code string
}{{59, "94287082"}, {1111111109, "07081804"}, {1111111111, "14050471"}, {1234567890, "89005924"}, {2000000000, "69279037"}, {20000000000, "65353130"}}

func TestCodesAreThoseOfRFC6238(t *testing.T) {
	t.Parallel()
	secret := []byte("12345678901234567890")
	for _, x := range published {
		step, ok := passwords.StepOf(secret, x.code[2:], time.Unix(x.unix, 0), -1)
		require.True(t, ok, "%d", x.unix)
		require.Equal(t, x.unix/30, step)
		_, ok = passwords.StepOf(secret, x.code, time.Unix(x.unix, 0), -1)
		require.False(t, ok, "eight digits are not asked for")
	}
}

func TestACodeCountsOnceAndOneStepAround(t *testing.T) {
	t.Parallel()
	secret, code := []byte("12345678901234567890"), published[3].code[2:]
	at := time.Unix(published[3].unix, 0) // the first second of its step
	for after, ok := range map[time.Duration]bool{-31 * time.Second: false, -30 * time.Second: true, 0: true, 59 * time.Second: true, 60 * time.Second: false} {
		_, right := passwords.StepOf(secret, code, at.Add(after), -1)
		require.Equal(t, ok, right, after)
	}
	step, ok := passwords.StepOf(secret, code[:3]+" "+code[3:], at, -1)
	require.True(t, ok, "as programs write it")
	_, ok = passwords.StepOf(secret, code, at, step)
	require.False(t, ok, "once")
	_, ok = passwords.StepOf(secret, code, at, step-1)
	require.True(t, ok)
	for _, wrong := range []string{"", "000000", code[:5], code + "0", "recovery"} {
		_, ok := passwords.StepOf(secret, wrong, at, -1)
		require.False(t, ok, wrong)
	}
}

func TestASecretIsReadByTelephones(t *testing.T) {
	t.Parallel()
	require.Equal(t, "GEZD-GNBV-GY3T-QOJQ-GEZD-GNBV-GY3T-QOJQ", passwords.WrittenSecret([]byte("12345678901234567890")))
	one, other := passwords.NewSecret(), passwords.NewSecret()
	require.Len(t, one, 20)
	require.NotEqual(t, one, other)
	at, err := url.Parse(passwords.SecretAddress([]byte("12345678901234567890"), "Quay: Chairs & Co", "ada+x@example.org"))
	require.NoError(t, err)
	require.Equal(t, "totp", at.Host)
	require.Equal(t, "/Quay  Chairs & Co:ada+x@example.org", at.Path)
	require.Equal(t, url.Values{"secret": {"GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"}, "issuer": {"Quay  Chairs & Co"}, "algorithm": {"SHA1"}, "digits": {"6"}, "period": {"30"}}, at.Query())
	require.NotContains(t, at.RawQuery, "+")
}

func TestRecoveryCodesAreLongAndForgiving(t *testing.T) {
	t.Parallel()
	list := passwords.NewRecoveryCodes()
	require.Len(t, list, 10)
	seen := map[string]bool{}
	for _, c := range list {
		require.Regexp(t, `^([A-Z2-7]{4}-){5}[A-Z2-7]{4}$`, c)
		require.False(t, passwords.LooksTimed(c))
		folded := passwords.FoldRecovery(c)
		seen[folded] = true
		for _, typed := range []string{strings.ToLower(c), strings.ReplaceAll(c, "-", " "), strings.NewReplacer("O", "0", "I", "1", "B", "8").Replace(c)} {
			require.Equal(t, folded, passwords.FoldRecovery(typed), typed)
		}
	}
	require.Len(t, seen, 10)
	for _, wrong := range []string{"", "123456", list[0][1:], list[0] + "A", strings.Repeat("ß", 24), strings.Repeat("é", 12)} {
		require.Empty(t, passwords.FoldRecovery(wrong), "%q", wrong)
	}
	require.True(t, passwords.LooksTimed("123 456"))
}
