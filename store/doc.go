// Package store keeps the ledger of a farm's mats in one file, on bbolt.
//
// Read it in this order: [Store.Record] is the one door through which steps
// get in: it asks package medium to admit each step and commits steps,
// conditions and indexes in one transaction, all or nothing. codec.go has the
// stored form of a record, chain.go the hashes and the [Anchor], view.go what
// is derived from a thread and can always be rebuilt, container.go the check of
// the file that runs before bbolt maps it, verify.go the comparison of all with
// all. export.go and import.go take everything out and in, backup.go copies
// the ledger while others write and puts a copy back, repair.go makes anew what
// is derived.
//
// Format promise: a file of format 1 opens for ever. Records are never
// rewritten; conditions and indexes are, when a version derives them in
// another way. What a version does not know it refuses, it never drops it. A
// later format may only change where things stand beside the records: a file is
// copied, then brought up to date in one transaction when it is first opened.
//
// Buckets and keys (integers big-endian, mat and FARM0000 eight bytes):
//
//	steps   mat | mat sequence (4)         record, see codec.go
//	mats    mat                            thread head, length, Condition, due time
//	farm    "farm"                         the same for the farm's own thread
//	due     due at (8) | mat               the mat's line of the due list
//	lots    'L' or 'S' | lot | 0 | mat     empty: mats of a lot, of a seed lot
//	tags    'C' | other code, 'M' | mark   mat
//	tokens  request token                  records made by it
//	meta    identity, ledger, views        who made the file; count and head; version of what is derived
//	        format                         of a file that was made in an older format; format 1 has none
package store
