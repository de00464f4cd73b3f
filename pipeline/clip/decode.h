// Decoding of one clip through FFmpeg's libraries. A decoder is used by one
// thread at a time; only decoder_stop may be called beside that.

#ifndef CLIP_DECODE_H
#define CLIP_DECODE_H

#include <libavutil/frame.h>
#include <stdint.h>

typedef struct decoder decoder;

// What the container says of the clip's first video stream.
typedef struct {
	const char *container, *codec; // Valid as long as the decoder.
	int bits;                      // Of a luma sample.
	int width, height;             // As coded, px.
	int cover;                     // Its only picture is a cover image.
	double clockwise;              // Turn by the display matrix, degrees, once the picture is mirrored; 0 where it is damaged.
	int mirrored;                  // Whether the display matrix exchanges left and right before it turns.
	double aspect;                 // Width over height of a pixel as coded; 1 where that isn't said.
	double filmed;                 // Frames a second at which it was filmed, as the phone's tag says; 0 where it says nothing.
	double unit;                   // Of its timestamps, s.
	int delay;                     // Pictures that decoding holds back at least; -1: that is found out by decoding some.
} decoder_stream;

// A packet of the stream.
typedef struct {
	int64_t stamp;
	int stamped, shown, encrypted;
} decoder_packet;

// A picture: luma of width × height, row by row, upright.
typedef struct {
	AVFrame *frame;
	uint8_t *own;          // Room for pixels where the frame's can't be used.
	const uint8_t *pixels; // In frame or own, valid until the picture is used again.
	int64_t stamp;
	int stamped;
	int whole; // Decoded without errors, from pictures that were; careful decoding alone says it of this picture, else it is said of all so far.
	double aspect; // Width over height of a pixel as the picture itself says; 0 where the container says it or nothing does.
} decoder_picture;

// What is wrong with a packet that was decoded with errors, or whose pictures are
// predicted from one that was.
typedef struct {
	int64_t stamp;
	int stamped;
	int errors;     // Told while it was decoded; 0 where it is only predicted from harmed pictures.
	char said[120]; // The first of them, or "".
} decoder_harm;

// What functions return besides 0 and FFmpeg's error numbers.
enum { decoder_no_video = 1, decoder_other_format = 2 };

// The containers that phones and cameras write, by FFmpeg's names. Everything else is
// refused: playlists would open other files, bare streams have no times.
#define decoder_formats "mov,matroska,avi,mpegts,mpeg"
#define decoder_protocols "file"

// Returns NULL where memory is short.
decoder *decoder_new(void);
void decoder_free(decoder *);

// Makes whatever runs return soon, with AVERROR_EXIT.
void decoder_stop(decoder *);

// Opens a file and finds its first video stream; everything else is skipped.
// delay is how many pictures decoding holds back, which spares looking at any; -1
// where that is not known.
int decoder_open(decoder *, const char *url, int delay, decoder_stream *);

// Reads the next packet, for its timestamp; returns AVERROR_EOF at the end.
int decoder_skim(decoder *, decoder_packet *);

// Goes to the last key picture that the file lists before to, before decoding is readied; where
// it can't be gone through so, decoding begins at its start. Pictures before wanted are left
// out where no other refers to them.
void decoder_seek(decoder *, int64_t to, int64_t wanted);

// Readies decoding into upright pictures of width × height, turned clockwise by
// rotation, on so many threads; 0 leaves their number to FFmpeg. Pictures with more
// than most pixels count as damaged. Careful decoding takes one thread and knows of
// every error to which picture it belongs.
int decoder_start(decoder *, int width, int height, int rotation, int64_t most, int threads, int careful);

// Makes pictures be mirrored, left for right, before they are turned.
void decoder_mirror(decoder *, int mirrored);

// Decodes the next picture; returns AVERROR_EOF after the last.
int decoder_next(decoder *, decoder_picture *);

// Makes a small colour copy of a picture that was just decoded: planar YUV
// 4:2:0, upright, of width × height, both even. Returns 0 or an error number.
int decoder_small(decoder *, const decoder_picture *, int width, int height, uint8_t *planes);

int decoder_picture_new(decoder_picture *, int width, int height);
void decoder_picture_free(decoder_picture *);

// Returns the error number of a failed read of the file itself, else 0.
int decoder_read_error(decoder *);

// Returns how many errors decoding has told of; careful decoding: of the last packet.
int decoder_errors(decoder *);

// Copies what careful decoding found wrong with the i-th packet that is not whole, in
// the file's order; returns 0 beyond the last.
int decoder_harmed(const decoder *, int i, decoder_harm *);

// Copies the first error that FFmpeg told of this decoder, or "".
void decoder_said(decoder *, char *text, int size);

// Copies pixels of size bytes (1 or 2) each, turned clockwise by rotation, into
// rows without gaps; width and height are those before.
void decoder_turn(uint8_t *to, const uint8_t *from, int stride, int width, int height, int size, int rotation);

#endif
