// Package notify writes the messages that a salon sends to its clients and
// carries them out of the process: over SMTP to a mail server, or as files
// into a maildir when there is no mail server.
//
// Compose turns facts of a visit into words: a subject, a plain text, the same
// as a page, and a text message for telephones. It has no clock, no network
// and no database. The words are data: one JSON file per language, English
// built in and others the salon's own, which can show the names that belong to
// a message and nothing else (ParseWords).
//
// A Sender hands one Mail over once; when to try again, and when it is too late
// to, is the caller's business. Delivery is at least once: a mail sent twice
// carries the same Message-ID both times.
//
// No message holds health answers, and no error or log value of this package
// holds a mail address, a password or a secret link.
package notify
