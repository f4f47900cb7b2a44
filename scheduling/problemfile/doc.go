// Package problemfile reads and writes the JSON files in which problems of
// openings, packing and delays can be asked without a database (schema
// openings/1).
package problemfile
