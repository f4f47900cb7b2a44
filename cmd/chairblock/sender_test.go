package main

import (
	"context"
	"log"
	"strings"
	"time"

	"chairblock/store"
)

// asSender makes the test binary the whole service with short times between tries,
// for the database, mail server and key file that it names.
const asSender = "CHAIRBLOCK_TEST_AS_SENDER"

// sendAll runs the service until it is killed.
func sendAll(what string) {
	part := strings.Split(what, " ")
	ctx := context.Background()
	r, err := start(ctx, Database{DatabaseURL: part[0]}, Mail{SMTP: part[1]}, HealthKey{File: part[2]}, "127.0.0.1:0", "", log.Printf)
	if err != nil {
		log.Fatal(err)
	}
	short := []time.Duration{time.Second, time.Second, time.Second, time.Second, time.Second, time.Second, time.Second, time.Second}
	// Three tries in a row that took too long are the last: a busy machine needs time.
	r.store.WorkWith(store.JobSettings{Timeout: 6 * time.Second, Rescue: 6 * time.Second, Mail: short, Texts: short})
	r.reach(true)
	if err := r.startJobs(ctx); err != nil {
		log.Fatal(err)
	}
	if err := r.serve(ctx); err != nil {
		log.Fatal(err)
	}
}
