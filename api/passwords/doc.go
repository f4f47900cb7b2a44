// Package passwords says which passwords and short codes may be chosen, and keeps
// and compares them as argon2id hashes. It knows neither accounts nor requests.
package passwords
