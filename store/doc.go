// Package store keeps the ledger of a farm's mats in one file, on bbolt.
//
// Read it in this order: [Store.Record] is the one door through which steps
// get in: it asks package medium to admit each step and commits steps and all
// that follows from them in one transaction, all or nothing. codec.go has the
// stored form of a record, log.go how records are read, chain.go the hashes and
// the [Anchor], view.go what is derived from a thread, sums.go how that is kept
// and checked, container.go the check of the file that runs before bbolt maps it,
// verify.go the comparison of all with all. export.go and import.go take everything
// out and in, backup.go copies the ledger while others write and puts a copy back,
// rebuild.go makes anew what is derived. FORMAT.md says what stands in the file.
//
// Format promise: a file of format 2 opens for ever. Records are never rewritten;
// what is derived from them is, when a version derives it in another way. What a
// version does not know it refuses, it never drops it.
package store
