// Package store keeps records in a database: SQLite in a folder of the bench,
// or PostgreSQL for many benches.
//
// A folder holds
//
//	records.db      the database
//	bench.key       the bench's private key, for its owner alone
//	bench.key.pub   the public key, for everybody
//	drafts/         one lock for each test under way
//	pages/          pages for people; they can be made again
//
// Every record goes into the bench's own folder first. A server is given what
// the folder holds, in the same order: it never takes a record that its bench
// has not kept and signed. A bench that loses the server tests on.
//
// # Tables
//
//	schema    the number of the database's form
//	benches   key word, public key, number of records, signed head; own is 1 for
//	          the bench of the folder
//	bodies    bench, seq (from 1): record.json, byte for byte
//	records   what is extracted from the bodies for finding, letters folded as
//	          fold does; nothing is shown from it but counts
//	parts     bench, seq, name ("trace", "result", "profile", "file/rig.toml"):
//	          SHA-256 of what belongs to a record, as record.json says too
//	blobs     by the SHA-256 of the original: codec (0 as it is, 1 Zstandard,
//	          2 package container), bytes of the original, data; kept once
//	          however many records refer to it
//	hashes    bench, place: the stored hashes of the bench's log in the order of
//	          package ledger
//	drafts    tests under way, chunks their samples so far; mac is the bench's
//	          own MAC over each row, without which Recover makes no record of it
//	servers   how many records each server has confirmed
//
// # Order of writes
//
// A record is one transaction: BEGIN IMMEDIATE, the last record read and
// checked, hashes, body, row, blobs, parts, the signed head, COMMIT. With
// SQLite's log (WAL) and full synchronisation all of it is appended to
// records.db-wal and synced before Put returns; before that sync, a power cut
// leaves none of it. Before the transaction of the first record, or of the first
// test's Begin, bench.key.new and its public half are written and synced; after
// it they get their names. A kill in between is made good by the next writer.
// Each new folder and the new database are synced into the folder above them.
//
// A draft's Begin, each Append and its end are such transactions too; its end
// adds the record and removes the draft in one.
package store
