// Package words holds what the program says to people, so that it can be said in
// more than one language.
//
// A Text is an English sentence with its arguments still beside it. English is
// what it prints by itself, on a terminal and in JSON, which scripts read. A
// Printer says the same Text in another language, with that language's decimal
// sign and dates. Whoever makes a Text need not know that there are languages:
//
//	words.Of("at least %s mg/m³, above the limit", words.Significant(x, 3))
//
// The English format is the key to the catalogue: one folder for each language, in it
// a file for each part of the program, with the translation of every key. A test reads
// the source and the templates of the whole program and holds the keys there against
// the catalogue: none may be missing, none left over.
//
// What people wrote themselves (names of tasks, sensors, materials) and the
// titles of documents go in as plain strings and stay as they are.
package words
