package passwords

import (
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestAPasswordThatIsEasyToGuessIsRefused(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ name, password, problem string }{
		{"four words", "lamp river nine toast", ""},
		{"twelve letters", "xkqvmwpzrtlb", ""},
		{"other scripts", "ножницы и гребень", ""},
		{"signs and spaces around", "  §%&/()=?,.- ", ""},
		{"as long as may be", strings.Repeat("lamp river nine ", 8), ""},
		{"a word of the list inside", "my dragon eats seven plums", ""},
		{"eleven", "xkqvmwpzrtl", "short"},
		{"nothing", "", "short"},
		{"long by bytes only", "ünïçødé wör", "short"},
		{"too long", strings.Repeat("lamp river nine ", 8) + "x", "long"},
		{"no text", "lamp river \xff nine", "text"},
		{"NUL", "lamp river \x00 nine", "text"},
		{"on the list", "correcthorsebatterystaple", "everybody"},
		{"in capitals", "QwertyUiopAsdf", "everybody"},
		{"a common word with the year", "Password2026!!", "everybody"},
		{"digits around", "1234dragon5678", "everybody"},
		{"digits", "123456789012", "everybody"},
		{"one character", "aaaaaaaaaaaaaaa", "everybody"},
		{"one piece", "ab1ab1ab1ab1", "everybody"},
		{"a common word twice", "sunshinesunshine", "everybody"},
		{"the login", "carla.moon is here", "mail"},
		{"the login without its dot", "xx CarlaMoon xx", "mail"},
		{"the salon", "we love Harbour Chairs", "salon"},
		{"the salon in one", "harbourchairs-4711", "salon"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			err := Check("password", tt.password, "carla.moon@example.org", "Harbour Chairs")
			if tt.problem == "" {
				require.NoError(t, err)
				return
			}
			require.ErrorContains(t, err, tt.problem)
			if len(tt.password) > 4 {
				require.NotContains(t, err.Error(), tt.password)
			}
		})
	}
	require.NoError(t, Check("password", "a quick bee sat there", "al@example.org", "Bee"), "short names stand in many words")
}

func TestTheListOfCommonPasswordsIsRead(t *testing.T) {
	t.Parallel()
	require.Greater(t, len(common), 200)
	for p := range common {
		require.Equal(t, strings.ToLower(p), p)
		require.NotContains(t, p, "#")
	}
}

func TestACodeIsAFewDigitsThatAreNotTriedFirst(t *testing.T) {
	t.Parallel()
	for _, code := range []string{"4711", "90210", "31415926", "2580"} {
		require.NoError(t, CheckCode("code", code), code)
	}
	for _, code := range []string{"", "471", "471147114", "47 11", "47a1", "４７１１", "1234", "2345", "7890", "4321", "3210", "0000", "1212", "12341234"} {
		require.Error(t, CheckCode("code", code), code)
	}
}

func TestOnlyTheSecretItselfMatches(t *testing.T) {
	t.Parallel()
	h := New(64, 1)
	kept, err := h.Hash(t.Context(), "lamp river nine toast")
	require.NoError(t, err)
	require.Regexp(t, `^\$argon2id\$v=19\$m=64,t=1,p=1\$`, kept)
	again, err := h.Hash(t.Context(), "lamp river nine toast")
	require.NoError(t, err)
	require.NotEqual(t, kept, again, "each with a salt of its own")
	for secret, want := range map[string]bool{"lamp river nine toast": true, "Lamp river nine toast": false, "lamp river nine toast ": false, "": false} {
		is, err := h.Matches(t.Context(), secret, kept)
		require.NoError(t, err)
		require.Equal(t, want, is, secret)
	}
	for _, secret := range []string{"", "nobody's"} {
		is, err := h.Matches(t.Context(), secret, "")
		require.NoError(t, err)
		require.False(t, is, "without a hash nothing matches")
	}
	_, err = h.Matches(t.Context(), "x", "broken")
	require.Error(t, err)
}

func TestWhoWaitsForATurnGivesUpWithTheRequest(t *testing.T) {
	t.Parallel()
	h := New(64, 1)
	for range atOnce {
		h.turns <- struct{}{}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := h.Hash(ctx, "x")
	require.ErrorIs(t, err, context.Canceled)
	_, err = h.Matches(ctx, "x", "")
	require.ErrorIs(t, err, context.Canceled)
	<-h.turns
	_, err = h.Hash(t.Context(), "x")
	require.NoError(t, err, "a turn is free again")
	require.Len(t, h.turns, atOnce-1)
}

func TestTheServiceHashesWithWhatIsAdvised(t *testing.T) {
	t.Parallel()
	kept, err := New(Memory, Passes).Hash(t.Context(), "x")
	require.NoError(t, err)
	require.Regexp(t, `^\$argon2id\$v=19\$m=19456,t=2,p=1\$`, kept)
}

func BenchmarkHash(b *testing.B) {
	h := New(Memory, Passes)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := h.Hash(b.Context(), "lamp river nine toast"); err != nil {
			b.Fatal(err)
		}
	}
}
