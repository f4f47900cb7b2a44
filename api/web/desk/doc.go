// Package desk holds the pages of the front desk beside board and booking:
// what is to do, clients, visits and what is done with them, the waiting list.
package desk
