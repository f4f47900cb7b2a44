// Package outbound fetches from and posts to addresses that people of a salon
// have typed in: a private calendar, the gateway for text messages.
//
// Such an address must not lead the service into its own network. A Client
// therefore speaks https on port 443 with public addresses only, decides by the
// numeric address at the moment of dialling, uses no proxy and keeps no cookies,
// and bounds time, headers and body. It does not read what it fetches.
//
// Errors never hold the path or the query of an address: who knows the address
// of a private calendar can read the calendar.
package outbound
