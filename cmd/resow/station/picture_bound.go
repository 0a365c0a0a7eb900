package station

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"io"
	"time"
)

// What a picture may cost. Go can't stop a decoder, so the cost is read from
// the picture's header and markers before one begins. A phone of 50 megapixels
// gives 8192 x 6144; its baseline JPEG takes 75 MB and 1.2 million blocks.
const (
	maxPicture = 12 << 20         // bytes of a file
	maxPixels  = 51e6             // pixels
	maxDecoded = 100 << 20        // bytes of memory while it is decoded
	maxVisits  = 7e6              // blocks of 8 x 8 that the scans of a JPEG go over, below a second
	dearVisit  = 4                // a visit of a baseline scan, which transforms the block at once, counts so often
	partVisit  = 20               // and so often a part of the file: a segment, a scan, a chunk
	decodeFor  = 5 * time.Second  // for slow machines: the decoder gets no more bytes after that
	turnFor    = 10 * time.Second // that a picture waits for those before it
)

// cost is what the decoder will make of a picture.
type cost struct {
	width, height int64
	memory        int64 // bytes
	visits        int64 // blocks, each time that a scan goes over it
	decode        func(io.Reader) (image.Image, error)
}

func (c cost) check() error {
	switch {
	case c.width < 1 || c.height < 1:
		return &PictureError{Why: "the picture is empty"}
	case c.width*c.height > maxPixels, c.memory > maxDecoded:
		return &PictureError{Why: fmt.Sprintf("a picture of %d x %d is too large", c.width, c.height)}
	case c.visits > maxVisits:
		return &PictureError{Why: fmt.Sprintf("this picture of %d x %d is stored in too many parts", c.width, c.height)}
	}
	return nil
}

// weigh reads what a picture will cost. JPEG and PNG only: programs that share
// the decoders' registry take GIF and TIFF too, which nothing here bounds.
func weigh(data []byte) (cost, error) {
	c, ok := weighPNG(data)
	if !ok {
		c, ok = weighJPEG(data)
	}
	if !ok {
		return cost{}, &PictureError{Why: "this file is neither a JPEG nor a PNG picture"}
	}
	return c, c.check()
}

// weighPNG reads the header of a PNG (PNG, third edition, section 11.2.1). Its
// pixels are what is inflated: the decoder reads no more of the stream.
func weighPNG(data []byte) (cost, bool) {
	const head = "\x89PNG\r\n\x1a\n\x00\x00\x00\x0dIHDR"
	if !bytes.HasPrefix(data, []byte(head)) || len(data) < len(head)+13 {
		return cost{}, false
	}
	h := data[len(head):]
	depth, color, interlaced := h[8], h[9], h[12] != 0
	c := cost{width: int64(binary.BigEndian.Uint32(h)), height: int64(binary.BigEndian.Uint32(h[4:])), decode: png.Decode}
	if c.width > 0xffff || c.height > 0xffff { // more than a JPEG can say, and no product below overflows
		c.memory = maxDecoded + 1
		return c, true
	}
	each := int64(4) // gray too: it may have a transparent color
	if depth == 16 {
		each = 8
	} else if color == 3 {
		each = 1
	}
	if interlaced { // its passes are pictures of their own, as large together as the whole
		each *= 2
	}
	c.memory = c.width * c.height * each
	for at := int64(8); at+12 <= int64(len(data)); at += 12 + int64(binary.BigEndian.Uint32(data[at:])) {
		c.visits += partVisit
	}
	return c, true
}

// frameOf is what a JPEG's frame header says (ITU-T T.81, B.2.2).
type frameOf struct {
	progressive bool
	blocks      map[byte]int64 // by component
	all         int64
}

// weighJPEG walks over the markers of a JPEG to its end and counts what each
// scan goes over, since a file of 130 kB can hold thousands of them. Segments
// are told apart from the data of scans as the decoder does it: there FF is
// followed by 00, by another FF or by a restart marker (T.81, B.1.1).
func weighJPEG(data []byte) (cost, bool) {
	if !bytes.HasPrefix(data, []byte{0xff, 0xd8}) {
		return cost{}, false
	}
	c := cost{decode: jpeg.Decode}
	var f frameOf
	for at := 2; ; {
		marker, body, next, ok := segment(data, at)
		if !ok {
			break
		}
		at = next
		c.visits += partVisit
		switch marker {
		case 0xc0, 0xc1, 0xc2: // the frame
			if f.all != 0 {
				return cost{}, false
			}
			f, ok = c.frame(marker, body)
			if !ok {
				return cost{}, false
			}
		case 0xda: // a scan
			each := int64(dearVisit)
			if f.progressive {
				each = 1
			}
			c.visits += each * f.scan(body)
		case 0xee: // Adobe's: without a transform the pixels are drawn a second time
			if bytes.HasPrefix(body, []byte("Adobe")) && len(body) > 11 && body[11] == 0 {
				c.memory += 4 * c.width * c.height
			}
		}
	}
	return c, f.all != 0
}

// segment gives the next marker from at on with what belongs to it. It finds
// none at the end of the picture.
func segment(data []byte, at int) (marker byte, body []byte, next int, ok bool) {
	for {
		skip := bytes.IndexByte(data[at:], 0xff)
		if skip < 0 {
			return 0, nil, 0, false
		}
		for at += skip; at < len(data) && data[at] == 0xff; at++ {
		}
		if at >= len(data) || data[at] == 0xd9 {
			return 0, nil, 0, false
		}
		marker = data[at]
		at++
		if marker != 0 && (marker < 0xd0 || marker > 0xd7) {
			break
		}
	}
	if at+2 > len(data) {
		return 0, nil, 0, false
	}
	n := int(binary.BigEndian.Uint16(data[at:]))
	if n < 2 || at+n > len(data) {
		return 0, nil, 0, false
	}
	return marker, data[at+2 : at+n], at + n, true
}

// frame reads the frame header and adds what the frame costs.
func (c *cost) frame(marker byte, b []byte) (frameOf, bool) {
	if len(b) < 6 || len(b) != 6+3*int(b[5]) || b[5] > 4 || b[5] == 0 {
		return frameOf{}, false
	}
	f := frameOf{progressive: marker == 0xc2, blocks: map[byte]int64{}}
	c.height, c.width = int64(binary.BigEndian.Uint16(b[1:])), int64(binary.BigEndian.Uint16(b[3:]))
	parts := b[6:]
	h0, v0 := int64(parts[1]>>4), int64(parts[1]&15)
	if len(parts) == 3 {
		h0, v0 = 1, 1
	}
	if h0 == 0 || v0 == 0 {
		return frameOf{}, false
	}
	across, down := (c.width+8*h0-1)/(8*h0), (c.height+8*v0-1)/(8*v0)
	rgb := len(parts) == 9
	for i := 0; i < len(parts); i += 3 {
		h, v := int64(parts[i+1]>>4), int64(parts[i+1]&15)
		if len(parts) == 3 {
			h, v = 1, 1
		}
		n := across * down * h * v
		f.blocks[parts[i]] = n
		f.all += n
		rgb = rgb && parts[i] == "RGB"[i/3]
	}
	c.memory += 64 * f.all
	if f.progressive { // all coefficients are kept, and gone over once more at the end
		c.memory += 256 * f.all
		c.visits += dearVisit * f.all
	}
	if rgb || len(parts) == 12 { // drawn a second time
		c.memory += 4 * c.width * c.height
	}
	return f, true
}

// scan gives how many blocks a scan goes over (T.81, B.2.3).
func (f frameOf) scan(b []byte) (n int64) {
	if len(b) == 0 {
		return 0
	}
	for i := 1; i+1 < len(b) && i < 2*int(b[0]); i += 2 {
		n += f.blocks[b[i]]
	}
	return n
}

// until reads up to a time, so that a decoder on a slow machine comes to an end.
type until struct {
	io.Reader
	end time.Time
}

func (u until) Read(p []byte) (int, error) {
	if time.Now().After(u.end) {
		return 0, &PictureError{Why: "this picture takes too long to read"}
	}
	return u.Reader.Read(p)
}
