package bundle

// readme is README.txt. Its text is part of the format: a bundle with another
// one is refused, so that nobody's advice is read as the bench's.
const readme = `RECORDS OF A TEST BENCH, FOR CHECKING                        bundle format 1

These are records of tests, with the proof that they stand in the bench's log.
dutybench checks them on any machine, without the bench:

    dutybench records verify THIS-FILE.zip --key THE-BENCH'S-PUBLIC-KEY

It also judges them again, as the bench judged them, with what was told of the
unit and seen on it, and makes a report of each:

    dutybench records judge THIS-FILE.zip --as-kept --key THE-BENCH'S-PUBLIC-KEY
    dutybench records report THIS-FILE.zip 12 --version claim --key ...

WHOM TO TRUST. The key in keys.txt came with the records, so it proves only
that they belong together. Get the bench's public key, or its fingerprint,
another way: from the bench's owner, from an earlier report, from somebody who
countersigned. Then nobody else can have made these records. What the holder of
the key could still do is to write a whole new log. A head of the log that was
kept elsewhere, as it is printed on every report, shows that: the new log does
not begin with the old one. Ask for a bundle that was made "--since" that head.

WHAT IS IN IT
    head.txt                    the log: its name, its number of records, its
                                root hash; then signatures
    keys.txt                    public keys: the bench's, then those of others
                                who signed
    older/...                   earlier heads, and the proof that the log
                                begins with theirs
    records/000012/record.json  record 12: what was tested, when, by whom, with
                                what; and the SHA-256 of each file beside it
    records/000012/trace.csv    its samples
    records/000012/result.json  its findings and verdict
    records/000012/profile.toml what it was judged against
    records/000012/files/       rig file, calibration, photos
    records/000012/proof.txt    the way from record.json to the root hash

TO CHECK A RECORD BY HAND, with a shell, sed, sha256sum and base64

1. The files are those that the record names. Compare what

       cd records/000012; sha256sum trace.csv result.json profile.toml files/*

   prints with trace_sha256, result_sha256, profile and files in record.json.

2. The record stands in the log (RFC 6962, section 2.1). A leaf is the SHA-256
   of a zero byte and record.json; a node is the SHA-256 of a byte 1, the left
   hash and the right hash. proof.txt says which hash comes next and on which
   side it stands:

       n=000012
       bytes() { env printf "$(echo "$1" | sed 's/../\\x&/g')"; }
       h=$( (printf '\000'; cat records/$n/record.json) | sha256sum | cut -c1-64)
       while read -r side other; do
           if [ "$side" = left ]; then pair=$other$h; else pair=$h$other; fi
           h=$( (printf '\001'; bytes "$pair") | sha256sum | cut -c1-64)
       done < records/$n/proof.txt
       bytes "$h" | base64
       sed -n 3p head.txt

   The last two lines printed must be the same.

3. The head is signed. What is signed is the first three lines of head.txt,
   each with its line feed. A signature line ends in base64: four bytes that
   name the key, then 64 bytes of Ed25519 signature (RFC 8032). A line of
   keys.txt ends in base64: a byte 1, then the 32 bytes of the public key. Its
   fingerprint is the first 32 digits of the line's SHA-256:

       sed -n 1p keys.txt | tr -d '\n' | sha256sum | cut -c1-32
`
