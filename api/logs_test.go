package api_test

import (
	"bytes"
	"io"
	"log/slog"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// listen collects what is written to the default log and to both outputs of
// the process until the returned function is called.
func listen(t *testing.T) (stop func() string) {
	t.Helper()
	r, w, err := os.Pipe()
	require.NoError(t, err)
	out, errs, logger := os.Stdout, os.Stderr, slog.Default()
	os.Stdout, os.Stderr = w, w
	slog.SetDefault(slog.New(slog.NewTextHandler(w, &slog.HandlerOptions{Level: slog.LevelDebug})))
	var heard bytes.Buffer
	done := make(chan error, 1)
	go func() { _, err := io.Copy(&heard, r); done <- err }()
	return func() string {
		os.Stdout, os.Stderr = out, errs
		slog.SetDefault(logger)
		require.NoError(t, w.Close())
		require.NoError(t, <-done)
		return heard.String()
	}
}

// TestNothingAboutAnybodyIsLogged puts words nobody else uses into every
// field, lets things go well and wrong, and looks for the words in what the
// service and its queue of messages have written.
func TestNothingAboutAnybodyIsLogged(t *testing.T) {
	stop := listen(t)
	ran := t.Run("scenario", func(t *testing.T) {
		s := newSalon(t)
		s.at(begin)
		s.deliver(func(to string) error {
			if strings.HasPrefix(to, "zqxqzgone") {
				return &smtp.SMTPError{Code: 550, Message: "zqxqzserver does not know " + to}
			}
			return &smtp.SMTPError{Code: 451, Message: "zqxqzserver says later to " + to}
		})
		var ids []string
		person := func(name string) object {
			return object{"given_name": name, "family_name": "Zqxqzfamily", "mail": strings.ToLower(name) + "@zqxqzmail.example", "phone": "+4930901829", "note": "zqxqznote"}
		}
		for i, name := range []string{"Zqxqzgone", "Zqxqzlater"} {
			var c api.ClientBody
			s.call("POST", "/v1/clients", person(name), "Idempotency-Key", "zqxqzkey"+name).is(201, &c)
			ids = append(ids, c.ID)
			s.book(c.ID, begin.Add(time.Duration(2+i)*time.Hour), s.cut())
		}
		db, queue := s.db(), ""
		for deadline := time.Now().Add(30 * time.Second); !strings.Contains(queue, "451") && time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
			require.NoError(t, db.QueryRow(`SELECT concat((SELECT string_agg(to_jsonb(j)::text, '') FROM river_job j WHERE kind = 'reminder'),
				(SELECT string_agg(to_jsonb(a)::text, '') FROM reminder_attempt a), (SELECT string_agg(problem, '') FROM reminder))`).Scan(&queue))
		}
		require.Contains(t, queue, "451", "what went wrong is noted")
		require.NotContains(t, strings.ToLower(queue), "zqxqz")
		s.feed("client", ids[0]).ask("GET").is(200, nil)
		bad := s.outside()
		for _, x := range []request{
			{"GET", "/v1/clients?name=Zqxqzfamily", nil, nil}, {"GET", "/v1/clients?name=Zqxqzfamily%00", nil, nil}, {"GET", "/v1/zqxqzpath", nil, nil},
			{"POST", "/v1/clients", `{"given_name":"Zqxqzgone`, nil}, {"POST", "/v1/clients", object{"given_name": "Zqxqzgone", "mail": "zqxqz mail"}, nil},
			{"GET", "/v1/salon", nil, []string{"Authorization", "Bearer b_zqxqztoken"}}, {"GET", "/cal/f_zqxqzsecret.ics", nil, nil},
			{"POST", "/v1/estimates", object{"service_id": "zqxqzservice", "hair": object{"length_cm": 35, "density": "zqxqzdense"}}, nil},
		} {
			bad.send(x)
		}
		// A database that does not do what the program believes.
		_, err := db.Exec(`ALTER TABLE client ADD CHECK (note <> 'zqxqznote') NOT VALID`)
		require.NoError(t, err)
		a := s.call("POST", "/v1/clients", person("Zqxqzbroken"), "Idempotency-Key", "zqxqzkey")
		require.Empty(t, a.refused(500, "internal").Detail)
		require.NotContains(t, strings.ToLower(string(a.body)), "zqxqz")
	})
	heard := stop()
	require.True(t, ran)
	require.NotEmpty(t, heard, "something went wrong and was logged")
	for _, word := range []string{"zqxqz", "30901829", "@", "b_", "f_", "Bearer", "length_cm", "cal/"} {
		require.NotContains(t, strings.ToLower(heard), strings.ToLower(word))
	}
}
