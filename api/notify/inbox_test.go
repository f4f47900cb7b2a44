package notify

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

// inbox is a maildir and the clock of who reads it.
type inbox struct {
	*Inbox
	t     testing.TB
	clock time.Time
}

func openInbox(t testing.TB) *inbox {
	t.Helper()
	b, err := OpenInbox(t.TempDir())
	require.NoError(t, err)
	x := &inbox{Inbox: b, t: t, clock: time.Now()}
	b.now = func() time.Time { return x.clock }
	return x
}

func (x *inbox) put(name, mail string) {
	x.t.Helper()
	require.NoError(x.t, os.WriteFile(filepath.Join(x.dir, "new", name), []byte(mail), 0o600))
}

// got is what a call of Each hands over.
type got struct {
	letter  Letter
	problem error
}

// each lets take answer with what is given for each letter, nil when there is no
// more.
func (x *inbox) each(answers ...error) (list []got, err error) {
	err = x.Each(x.t.Context(), func(_ context.Context, l Letter, problem error) error {
		list = append(list, got{l, problem})
		if len(answers) < len(list) {
			return nil
		}
		return answers[len(list)-1]
	})
	return list, err
}

func good() string { return letterOf("text/calendar; method=REPLY", "", answerICS) }

func TestEachNewMailIsHandedOverOnceAndThenSeen(t *testing.T) {
	x := openInbox(t)
	x.put("1.a.host", good())
	x.put("2.b.host:2,", good())
	x.put(".hidden", good())
	require.NoError(t, os.Mkdir(filepath.Join(x.dir, "new", "folder"), 0o700))
	require.NoError(t, os.Symlink("/etc/hostname", filepath.Join(x.dir, "new", "link")))
	list, err := x.each()
	require.NoError(t, err)
	require.Len(t, list, 2)
	for _, g := range list {
		require.NoError(t, g.problem)
		require.Equal(t, "b@example.com", g.letter.From)
	}
	require.Equal(t, []string{"1.a.host:2,S", "2.b.host:2,S"}, files(t, x.dir, "cur"))
	require.Equal(t, []string{".hidden", "folder", "link"}, files(t, x.dir, "new"))
	list, err = x.each()
	require.NoError(t, err)
	require.Empty(t, list)
}

func TestAMailThatCannotBeKeptNowComesAgain(t *testing.T) {
	x := openInbox(t)
	x.put("1", good())
	x.put("2", good())
	broken := errors.New("no database")
	for i := range 10 {
		list, err := x.each(broken)
		require.ErrorIs(t, err, broken)
		require.Len(t, list, 2-min(i, 1), "the other one is taken at once")
		require.Equal(t, []string{"1"}, files(t, x.dir, "new"), "no try is counted")
	}
	list, err := x.each()
	require.NoError(t, err)
	require.Len(t, list, 1)
}

func TestTheFirstOfSeveralErrorsIsReturned(t *testing.T) {
	x := openInbox(t)
	for _, name := range []string{"1", "2", "3"} {
		x.put(name, good())
	}
	first, second := errors.New("first"), errors.New("second")
	list, err := x.each(nil, first, second)
	require.ErrorIs(t, err, first)
	require.Len(t, list, 3)
	require.Equal(t, []string{"2", "3"}, files(t, x.dir, "new"))
}

// A mail that the mail server does not let go keeps no other one back.
func TestAMailThatCannotBeClaimedIsPassedOver(t *testing.T) {
	x := openInbox(t)
	x.put("1", good())
	x.put("2", good())
	inTheWay := filepath.Join(x.dir, "new", fmt.Sprintf("1%s-%d", trySuffix(1), x.clock.Unix()))
	require.NoError(t, os.Mkdir(inTheWay, 0o700))
	list, err := x.each()
	require.ErrorContains(t, err, "notify: inbox: rename")
	require.Len(t, list, 1)
	require.Equal(t, []string{"2:2,S"}, files(t, x.dir, "cur"))
	require.Contains(t, files(t, x.dir, "new"), "1")
	require.NoError(t, os.Remove(inTheWay))
	list, err = x.each()
	require.NoError(t, err)
	require.Len(t, list, 1)
}

// Its time is the mail server's, which alone may set it.
func TestAMailKeepsItsTimeAndIsDeletedWhenOld(t *testing.T) {
	x := openInbox(t)
	came := x.clock.Add(-24 * time.Hour).Truncate(time.Second)
	x.put("1", good())
	require.NoError(t, os.Chtimes(filepath.Join(x.dir, "new", "1"), came, came))
	require.NoError(t, os.Mkdir(filepath.Join(x.dir, "cur", "folder"), 0o700))
	list, err := x.each()
	require.NoError(t, err)
	require.Len(t, list, 1)
	info, err := os.Stat(filepath.Join(x.dir, "cur", "1:2,S"))
	require.NoError(t, err)
	require.True(t, came.Equal(info.ModTime()), info.ModTime())

	for _, tt := range []struct {
		age  time.Duration
		left []string
	}{
		{keptSeen, []string{"1:2,S", "folder"}},
		{keptSeen + time.Second, []string{"folder"}},
	} {
		x.clock = came.Add(tt.age)
		_, err = x.each()
		require.NoError(t, err)
		require.Equal(t, tt.left, files(t, x.dir, "cur"))
	}
}

// A mail in the middle of which the process dies is read again, but not for ever.
func TestAMailThatKillsItsReaderIsGivenUp(t *testing.T) {
	x := openInbox(t)
	x.put("bad", good())
	for i := range maxTries {
		func() {
			defer func() { _ = recover() }() // stands for the end of the process
			_ = x.Each(t.Context(), func(_ context.Context, _ Letter, problem error) error {
				require.NoError(t, problem)
				panic("killed")
			})
		}()
		require.Equal(t, []string{fmt.Sprintf("bad%s-%d", trySuffix(i+1), x.clock.Unix())}, files(t, x.dir, "new"))
		list, err := x.each()
		require.NoError(t, err)
		require.Empty(t, list, "somebody may be reading it")
		x.clock = x.clock.Add(claimed)
	}
	list, err := x.each()
	require.NoError(t, err)
	require.Len(t, list, 1)
	require.ErrorIs(t, list[0].problem, ErrCrashed)
	require.Empty(t, list[0].letter.Calendars)
	require.Equal(t, []string{"bad:2,S"}, files(t, x.dir, "cur"))
}

func TestAMailIsReadByOneOfTwoProcesses(t *testing.T) {
	x := openInbox(t)
	other := &Inbox{dir: x.dir, now: x.now}
	x.put("1", good())
	inside := 0
	require.NoError(t, x.Each(t.Context(), func(ctx context.Context, _ Letter, _ error) error {
		return other.Each(ctx, func(context.Context, Letter, error) error { inside++; return nil })
	}))
	require.Zero(t, inside)
	require.Equal(t, []string{"1:2,S"}, files(t, x.dir, "cur"))
}

func TestTooLargeMailsAreNotEvenRead(t *testing.T) {
	x := openInbox(t)
	name := filepath.Join(x.dir, "new", "big")
	require.NoError(t, os.WriteFile(name, []byte(good()), 0o000)) // nobody may read it
	require.NoError(t, os.Truncate(name, 50<<20))
	list, err := x.each()
	require.NoError(t, err)
	require.Len(t, list, 1)
	require.ErrorIs(t, list[0].problem, ErrTooLarge)
	require.Equal(t, []string{"big:2,S"}, files(t, x.dir, "cur"))
}

func TestHostileMailsAreRefusedAndPutAway(t *testing.T) {
	x := openInbox(t)
	for name, mail := range hostile() {
		x.put(strings.ReplaceAll(name, " ", "-"), mail)
	}
	list, err := x.each()
	require.NoError(t, err)
	require.Len(t, list, len(hostile()))
	require.Empty(t, files(t, x.dir, "new"))
}

func TestNamesThatLookLikeTriesAreNames(t *testing.T) {
	for file, want := range map[string]struct {
		name  string
		tries int
		begun int64
	}{
		"x":                      {"x", 0, 0},
		"x.chairblock-try1":      {"x", 1, 0},
		"x.chairblock-try2":      {"x", 2, 0},
		"x.chairblock-try2-1783": {"x", 2, 1783},
		"x.chairblock-try2-":     {"x.chairblock-try2-", 0, 0},
		"x.chairblock-try2-1-2":  {"x.chairblock-try2-1-2", 0, 0},
		"x.chairblock-try9-1783": {"x.chairblock-try9-1783", 0, 0},
		"x.chairblock-try99":     {"x.chairblock-try99", 0, 0},
		"x.chairblock-try-1":     {"x.chairblock-try-1", 0, 0},
		"x.chairblock-try":       {"x.chairblock-try", 0, 0},
		"a.chairblock-try1.b":    {"a.chairblock-try1.b", 0, 0},
		".chairblock-try1":       {"", 1, 0},
		"x.chairblock-try1:2,S":  {"x.chairblock-try1:2,S", 0, 0},
		"x:2,S.chairblock-try2":  {"x:2,S", 2, 0},
		"\xff.chairblock-try3":   {"\xff", 3, 0},
		"x.chairblock-try000001": {"x", 1, 0},
	} {
		name, tries, begun := triesOf(file)
		require.Equal(t, want.begun, begun, file)
		require.Equal(t, want.name, name, file)
		require.Equal(t, want.tries, tries, file)
	}
}

func TestErrorsOfAnInboxNameNoFile(t *testing.T) {
	x := openInbox(t)
	x.put("secret@client.example", good())
	require.NoError(t, os.RemoveAll(filepath.Join(x.dir, "cur")))
	_, err := x.each()
	require.ErrorContains(t, err, "notify: inbox: rename")
	require.NotContains(t, err.Error(), "secret")
	file := filepath.Join(x.dir, "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	_, err = OpenInbox(file)
	invalid, ok := errors.AsType[*scheduling.InvalidError](err)
	require.True(t, ok)
	require.Equal(t, "replies_maildir", invalid.Field)
}

// The calendar of a letter is what was sent, octet by octet, whatever our own
// invitations look like.
func TestOurOwnInvitationIsNoAnswer(t *testing.T) {
	m := sample()
	m.Invitation = &Invitation{ICS: []byte(invitation), Method: "REQUEST", Organizer: m.From}
	l, err := ReadLetter(bytes.NewReader(rendered(t, m)))
	require.NoError(t, err)
	require.Equal(t, m.From.Address, l.From)
	require.Len(t, l.Calendars, 1, "the file, which says no method beside itself")
}
