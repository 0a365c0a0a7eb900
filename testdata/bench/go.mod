module resow/testdata/bench

go 1.26.8

require (
	github.com/mattn/go-sqlite3 v1.14.53
	go.etcd.io/bbolt v1.5.0
	resow v0.0.0
)

require (
	github.com/fxamacker/cbor/v2 v2.10.0 // indirect
	github.com/go-text/typesetting v0.3.5 // indirect
	github.com/jung-kurt/gofpdf v1.16.2 // indirect
	github.com/skip2/go-qrcode v0.0.0-20200617195104-da1b6568686e // indirect
	github.com/x448/float16 v0.8.4 // indirect
	golang.org/x/image v0.48.0 // indirect
	golang.org/x/sys v0.50.0 // indirect
)

replace resow => ../..
