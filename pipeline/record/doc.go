// Package record reads and writes the files of a yard folder that people and
// the program share: marks (JSON), results (JSON), and the horse's, the
// visit's and the yard's own pages (TOML). FORMATS.md beside this file tells
// what each one holds; the JSON Schemas in schemas/ are the rules that reading
// applies.
//
// Reading is strict: an unknown version, a missing field or a value out of
// range gives an error that names the file, the field, the value and what is
// allowed, and nothing is ever overwritten by reading.
package record
