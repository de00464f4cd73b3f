#include "decode.h"

#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavutil/avstring.h>
#include <libavutil/eval.h>
#include <libavutil/imgutils.h>
#include <libavutil/pixdesc.h>
#include <libswscale/swscale.h>
#include <math.h>
#include <pthread.h>
#include <stdatomic.h>
#include <string.h>

#if !defined(__clang__)
#pragma GCC optimize("O3")
#endif

// harmed is a packet that was not decoded without errors, or whose pictures are
// predicted from one that was not.
struct harmed {
	int64_t serial; // Of the packet.
	decoder_harm harm;
};

// display_matrix returns how the stream says that it is to be turned, or NULL.
static const uint8_t *display_matrix(const AVStream *stream, size_t *size) {
	// From FFmpeg 6.1 on it stands with the stream's other parameters alone.
#if LIBAVFORMAT_VERSION_INT < AV_VERSION_INT(60, 15, 100)
	return av_stream_get_side_data(stream, AV_PKT_DATA_DISPLAYMATRIX, size);
#else
	const AVCodecParameters *p = stream->codecpar;
	const AVPacketSideData *side = av_packet_side_data_get(p->coded_side_data, p->nb_coded_side_data, AV_PKT_DATA_DISPLAYMATRIX);
	*size = side ? side->size : 0;
	return side ? side->data : NULL;
#endif
}

struct decoder {
	atomic_int stopped;
	atomic_int errors; // That decoding told of.
	AVFormatContext *format;
	AVStream *stream;
	AVCodecContext *codec;
	AVPacket *packet, *first; // Of the stream; first was read to look at, and is still to be delivered.
	int draining, drained_errors, read_error;
	int64_t interval, next_stamp; // Between pictures, 0 where it isn't known; of the picture to come.
	int64_t wanted;               // Pictures before it are only decoded where others refer to them.
	int width, height, rotation, mirrored;
	struct SwsContext *to_luma, *to_size, *to_small;
	AVFrame *planar;           // Luma of formats that have none of their own.
	uint8_t *turned, *smaller, *flipped; // Scratch, as large as needed so far.
	unsigned turned_size, smaller_size, flipped_size;
	pthread_mutex_t saying;
	char said[300];
	char heard[sizeof((decoder_harm *)0)->said]; // First error since the packet at hand was sent.

	int length_size, leaves_blanks; // See the functions of these names.
	int careful; // Packets are decoded one by one, so that errors are known with their picture.
	int64_t serial;
	int harm, lead_harm; // Whether what is predicted from pictures so far is harmed; or was, before the last key picture.
	int64_t lead_stamp;  // Of that key picture.
	int64_t key_serial;  // Of it.
	int64_t late_from, late_to; // Serials between these are harmed by a picture that was found so when it was shown.
	struct harmed *harmed;
	int harmed_count, harmed_room;
};

// FFmpeg's messages go through one function for the whole process. Which decoder
// one belongs to is told by the codec's context, which its threads share, or by
// the thread that is inside a function of this file.
static _Thread_local decoder *inside;
static pthread_once_t listening = PTHREAD_ONCE_INIT;

static void hear(void *who, int level, const char *format, va_list words) {
	// A picture with missing parts, which are made up, is no error in FFmpeg's terms.
	if (level > AV_LOG_ERROR && strncmp(format, "concealing", strlen("concealing")) != 0)
		return;
	decoder *d = inside;
	const AVClass *class = who ? *(const AVClass **)who : NULL;
	const int codec = class && class == avcodec_get_class();
	if (!d && codec)
		d = ((AVCodecContext *)who)->opaque;
	if (!d)
		return;
	if (codec)
		atomic_fetch_add(&d->errors, 1);
	char line[sizeof d->said];
	if (vsnprintf(line, sizeof line, format, words) < 0)
		return;
	line[strcspn(line, "\r\n")] = 0;
	if (!*line)
		return;
	pthread_mutex_lock(&d->saying);
	if (!*d->said) // What goes wrong first is the cause of the rest.
		memcpy(d->said, line, sizeof line);
	if (codec && !*d->heard)
		av_strlcpy(d->heard, line, sizeof d->heard);
	pthread_mutex_unlock(&d->saying);
}

static void listen(void) { av_log_set_callback(hear); }

static int stopped(void *d) { return atomic_load(&((decoder *)d)->stopped); }

decoder *decoder_new(void) {
	pthread_once(&listening, listen);
	decoder *d = av_mallocz(sizeof *d);
	if (!d)
		return NULL;
	pthread_mutex_init(&d->saying, NULL);
	d->wanted = INT64_MIN;
	d->packet = av_packet_alloc();
	d->first = av_packet_alloc();
	d->planar = av_frame_alloc();
	if (!d->packet || !d->first || !d->planar) {
		decoder_free(d);
		return NULL;
	}
	return d;
}

void decoder_free(decoder *d) {
	inside = d;
	avcodec_free_context(&d->codec);
	avformat_close_input(&d->format);
	inside = NULL;
	sws_freeContext(d->to_luma);
	sws_freeContext(d->to_size);
	sws_freeContext(d->to_small);
	av_packet_free(&d->packet);
	av_packet_free(&d->first);
	av_frame_free(&d->planar);
	av_freep(&d->turned);
	av_freep(&d->smaller);
	av_freep(&d->harmed);
	av_freep(&d->flipped);
	pthread_mutex_destroy(&d->saying);
	av_free(d);
}

void decoder_stop(decoder *d) { atomic_store(&d->stopped, 1); }

void decoder_said(decoder *d, char *text, int size) {
	pthread_mutex_lock(&d->saying);
	av_strlcpy(text, d->said, size);
	pthread_mutex_unlock(&d->saying);
}

int decoder_read_error(decoder *d) { return d->read_error; }

// complete tells whether the header of a file says all of its video stream but
// what only its first picture shows. Phones write such files.
static int complete(const AVFormatContext *f, const AVStream *s) {
	return s && !(f->ctx_flags & AVFMTCTX_NOHEADER) && av_match_name("mp4", f->iformat->name) && s->codecpar->extradata_size > 0;
}

static AVStream *first_video(const AVFormatContext *f) {
	for (unsigned i = 0; i < f->nb_streams; i++)
		if (f->streams[i]->codecpar->codec_type == AVMEDIA_TYPE_VIDEO)
			return f->streams[i];
	return NULL;
}

static int open_input(decoder *d, const char *url) {
	d->format = avformat_alloc_context();
	if (!d->format)
		return AVERROR(ENOMEM);
	d->format->interrupt_callback = (AVIOInterruptCB){stopped, d};
	// A text file that is a playlist would open other files. Streams without a
	// container have no times of their own.
	d->format->format_whitelist = av_strdup(decoder_formats);
	d->format->protocol_whitelist = av_strdup(decoder_protocols);
	if (!d->format->format_whitelist || !d->format->protocol_whitelist) {
		avformat_free_context(d->format);
		d->format = NULL;
		return AVERROR(ENOMEM);
	}
	int err = avformat_open_input(&d->format, url, NULL, NULL);
	if (err == AVERROR(EINVAL) && av_strstart(d->said, "Format not on whitelist", NULL))
		return decoder_other_format;
	// Later versions of FFmpeg (7.1.5, not 5.1) themselves take a playlist only by its name.
	if (err == AVERROR_INVALIDDATA && av_strstart(d->said, "Not detecting m3u8", NULL))
		return decoder_other_format;
	return err;
}

static void choose(decoder *d, AVStream *s) {
	d->stream = s;
	for (unsigned i = 0; i < d->format->nb_streams; i++)
		if (d->format->streams[i] != s)
			d->format->streams[i]->discard = AVDISCARD_ALL;
}

// read_packet reads the stream's next packet, to be unreferenced.
static int read_packet(decoder *d) {
	if (d->first->data) {
		av_packet_move_ref(d->packet, d->first);
		return 0;
	}
	for (;;) {
		int err = stopped(d) ? AVERROR_EXIT : av_read_frame(d->format, d->packet);
		if (err == AVERROR(EAGAIN))
			continue;
		if (err < 0) {
			// Some containers take a failed read for the end of the file.
			if (d->format->pb && d->format->pb->error < 0)
				d->read_error = d->format->pb->error;
			return stopped(d) ? AVERROR_EXIT : err;
		}
		if (d->packet->stream_index == d->stream->index)
			return 0;
		av_packet_unref(d->packet);
	}
}

// glance finds format and size of the stream's pictures in the headers of its first
// packet and returns whether they are there. Decoding, by which FFmpeg finds them
// for all streams alike, takes up to twenty pictures.
static int glance(decoder *d) {
	AVCodecParameters *p = d->stream->codecpar;
	AVCodecParserContext *parser = av_parser_init(p->codec_id);
	AVCodecContext *codec = avcodec_alloc_context3(NULL);
	int known = 0;
	if (parser && codec && avcodec_parameters_to_context(codec, p) >= 0 && read_packet(d) == 0) {
		uint8_t *unused;
		int unused_size;
		parser->flags |= PARSER_FLAG_COMPLETE_FRAMES;
		codec->opaque = d;
		av_parser_parse2(parser, codec, &unused, &unused_size, d->packet->data, d->packet->size, d->packet->pts, d->packet->dts, d->packet->pos);
		if (parser->format >= 0 && parser->width > 0 && parser->height > 0) {
			p->format = parser->format;
			p->width = parser->width;
			p->height = parser->height;
			known = 1;
		}
		av_packet_move_ref(d->first, d->packet);
	}
	av_parser_close(parser);
	avcodec_free_context(&codec);
	return known;
}

// read_matrix takes a display matrix apart: it takes (x, y) of the stored picture to
// (a·x + c·y, b·x + d·y) of the shown one (ISO/IEC 14496-12, 6.2.2), y downward. Every
// matrix that keeps right angles is a mirroring, or none, and then a turn.
static void read_matrix(const int32_t m[9], decoder_stream *s) {
	const double a = m[0], b = m[1], c = m[3], e = m[4];
	if (a * e - b * c == 0)
		return;
	s->mirrored = a * e - b * c < 0;
	s->clockwise = atan2(-c, e) * 180 / M_PI;
}

static int open_file(decoder *d, const char *url, int delay, decoder_stream *s) {
	int err = open_input(d, url);
	if (err != 0)
		return err;
	AVStream *video = first_video(d->format);
	const int brief = complete(d->format, video);
	if (brief) {
		choose(d, video);
		if (delay > video->codecpar->video_delay)
			video->codecpar->video_delay = delay;
	}
	if (!brief || (delay < 0 && !glance(d))) {
		if (brief) {
			av_packet_unref(d->first);
			avformat_close_input(&d->format);
			err = open_input(d, url);
			if (err != 0)
				return err;
		}
		err = avformat_find_stream_info(d->format, NULL);
		if (err < 0)
			return err;
		video = first_video(d->format);
		if (!video)
			return decoder_no_video;
		choose(d, video);
	}
	const AVCodecParameters *p = d->stream->codecpar;
	const AVPixFmtDescriptor *t = av_pix_fmt_desc_get(p->format);
	*s = (decoder_stream){
		.container = d->format->iformat->name,
		.codec = avcodec_get_name(p->codec_id),
		.bits = p->bits_per_raw_sample > 0 ? p->bits_per_raw_sample : t ? t->comp[0].depth : 8,
		.width = p->width,
		.height = p->height,
		.cover = (d->stream->disposition & AV_DISPOSITION_ATTACHED_PIC) != 0,
		.unit = av_q2d(d->stream->time_base),
		.delay = brief ? p->video_delay : -1,
	};
	// What Android's recorders write of slow motion.
	const AVDictionaryEntry *filmed = av_dict_get(d->format->metadata, "com.android.capture.fps", NULL, 0);
	if (filmed)
		s->filmed = av_strtod(filmed->value, NULL);
	const AVRational aspect = av_guess_sample_aspect_ratio(d->format, d->stream, NULL);
	s->aspect = aspect.num > 0 && aspect.den > 0 ? av_q2d(aspect) : 1;
	size_t size = 0;
	const uint8_t *matrix = display_matrix(d->stream, &size);
	if (matrix && size >= 9 * sizeof(int32_t))
		read_matrix((const int32_t *)matrix, s);
	return 0;
}

int decoder_open(decoder *d, const char *url, int delay, decoder_stream *s) {
	inside = d;
	int err = open_file(d, url, delay, s);
	if (d->format && d->format->pb && d->format->pb->error < 0)
		d->read_error = d->format->pb->error;
	inside = NULL;
	return stopped(d) ? AVERROR_EXIT : err;
}

int decoder_skim(decoder *d, decoder_packet *p) {
	inside = d;
	int err = read_packet(d);
	inside = NULL;
	if (err < 0)
		return err;
	*p = (decoder_packet){
		.stamp = d->packet->pts,
		.stamped = d->packet->pts != AV_NOPTS_VALUE,
		.shown = !(d->packet->flags & AV_PKT_FLAG_DISCARD),
		.encrypted = av_packet_get_side_data(d->packet, AV_PKT_DATA_ENCRYPTION_INFO, NULL) != NULL,
	};
	av_packet_unref(d->packet);
	return 0;
}

void decoder_seek(decoder *d, int64_t to, int64_t wanted) {
	inside = d;
	av_packet_unref(d->first);
	if (av_seek_frame(d->format, d->stream->index, to, AVSEEK_FLAG_BACKWARD) < 0)
		av_seek_frame(d->format, d->stream->index, 0, AVSEEK_FLAG_BYTE);
	d->wanted = wanted;
	inside = NULL;
}

// What pictures hold before they are decoded, in rows by turns: no picture looks like
// it. Some decoders leave the rest of a picture as it is where its data end early.
enum { blank_even = 0xFE, blank_odd = 0x01 };

static int blank_buffer(AVCodecContext *codec, AVFrame *f, int flags) {
	const int err = avcodec_default_get_buffer2(codec, f, flags);
	if (err < 0 || !f->data[0] || f->linesize[0] <= 0)
		return err;
	for (int y = 0; y < f->height; y++)
		memset(f->data[0] + (ptrdiff_t)y * f->linesize[0], y % 2 ? blank_odd : blank_even, f->linesize[0]);
	return err;
}

// leaves_blanks returns whether a codec's decoder leaves parts of a picture as they were.
static int leaves_blanks(enum AVCodecID id) { return id == AV_CODEC_ID_HEVC || id == AV_CODEC_ID_VVC; }

// blanks returns whether a square of 16 px of the picture was not decoded.
static int blanks(const AVFrame *f) {
	const AVPixFmtDescriptor *t = av_pix_fmt_desc_get(f->format);
	const int step = t ? t->comp[0].step : 1;
	for (int y = 6; y + 3 < f->height; y += 16)
		for (int x = 6; x + 3 < f->width; x += 16) {
			const uint8_t *p = f->data[0] + (ptrdiff_t)y * f->linesize[0] + (ptrdiff_t)x * step;
			if (*p != blank_even && *p != blank_odd)
				continue;
			const int first = *p;
			int same = 1;
			for (int row = 0; row < 4 && same; row++) {
				const int want = row % 2 ? blank_even + blank_odd - first : first;
				for (int i = 0; i < 4 * step && same; i++)
					same = p[(ptrdiff_t)row * f->linesize[0] + i] == want;
			}
			if (same)
				return 1;
		}
	return 0;
}

// length_size returns in how many bytes a packet's units say their length, or 0 where
// units are not stored so.
static int length_size(const AVCodecParameters *p) {
	if (p->codec_id == AV_CODEC_ID_H264 && p->extradata_size > 4 && p->extradata[0] == 1)
		return (p->extradata[4] & 3) + 1;
	if (p->codec_id == AV_CODEC_ID_HEVC && p->extradata_size > 21 && p->extradata[0] == 1)
		return (p->extradata[21] & 3) + 1;
	return 0;
}

// possible returns whether bytes can be those of units of H.264 or HEVC: these fill
// their packet, and hold neither 0, 0 and a byte up to 2 nor 0, 0, 3 and a byte above
// 3 (ITU-T H.264, 7.4.1). Decoders don't look, and make some picture of a hole.
static int possible(const uint8_t *data, int size, int length_size) {
	while (size > 0) {
		if (size < length_size)
			return 0;
		uint32_t n = 0;
		for (int i = 0; i < length_size; i++)
			n = n << 8 | data[i];
		data += length_size;
		size -= length_size;
		if (n > (uint32_t)size)
			return 0;
		const uint8_t *end = data + n, *last = end;
		while (last > data && !last[-1])
			last--;
		const int padding = 8; // More zeros at the end are none of the encoder's.
		if (end - last > padding)
			return 0;
		for (const uint8_t *p = data; p + 2 < last; p++) {
			p = memchr(p, 0, last - p);
			if (!p || p + 2 >= last)
				break;
			if (p[1])
				p++;
			else if (p[2] < 3 || (p[2] == 3 && p + 3 < last && p[3] > 3))
				return 0;
		}
		data = end;
		size -= n;
	}
	return 1;
}

static int start(decoder *d, int64_t most, int threads) {
	const AVCodec *codec = avcodec_find_decoder(d->stream->codecpar->codec_id);
	if (!codec)
		return AVERROR_DECODER_NOT_FOUND;
	d->codec = avcodec_alloc_context3(codec);
	if (!d->codec)
		return AVERROR(ENOMEM);
	int err = avcodec_parameters_to_context(d->codec, d->stream->codecpar);
	if (err < 0)
		return err;
	d->next_stamp = AV_NOPTS_VALUE;
	if (d->stream->avg_frame_rate.num > 0 && d->stream->avg_frame_rate.den > 0)
		d->interval = av_rescale_q(1, av_inv_q(d->stream->avg_frame_rate), d->stream->time_base);
	d->codec->opaque = d;
	d->codec->pkt_timebase = d->stream->time_base;
	d->codec->framerate = d->stream->avg_frame_rate;
	d->codec->max_pixels = most;
	d->codec->err_recognition = AV_EF_CRCCHECK; // Where the stream carries sums of its pictures.
	d->codec->thread_count = d->careful ? 1 : threads;
	d->codec->thread_type = FF_THREAD_FRAME | FF_THREAD_SLICE;
	d->length_size = length_size(d->stream->codecpar);
	d->leaves_blanks = leaves_blanks(codec->id);
	if (d->leaves_blanks) {
		d->codec->get_buffer2 = blank_buffer;
#if LIBAVCODEC_VERSION_MAJOR < 60 // Later ones take it for granted.
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wdeprecated-declarations"
		d->codec->thread_safe_callbacks = 1;
#pragma GCC diagnostic pop
#endif
	}
#if LIBAVCODEC_VERSION_MAJOR >= 60
	d->codec->flags |= AV_CODEC_FLAG_COPY_OPAQUE;
#endif
	err = avcodec_open2(d->codec, codec, NULL);
	atomic_store(&d->errors, 0); // What was said of headers is no error in a picture.
	*d->heard = 0;
	return err;
}

int decoder_start(decoder *d, int width, int height, int rotation, int64_t most, int threads, int careful) {
	d->careful = careful;
	d->width = width;
	d->height = height;
	d->rotation = rotation;
	inside = d;
	int err = start(d, most, threads);
	inside = NULL;
	return err;
}

void decoder_mirror(decoder *d, int mirrored) { d->mirrored = mirrored; }

// mirror writes rows of pixels of size bytes with left and right exchanged; to may be
// from.
static void mirror(uint8_t *to, ptrdiff_t to_stride, const uint8_t *from, ptrdiff_t stride, int width, int height, int size) {
	for (int y = 0; y < height; y++) {
		const uint8_t *a = from + y * stride;
		uint8_t *b = to + y * to_stride;
		for (int i = 0, j = width - 1; i <= j; i++, j--) {
			uint8_t left[2], right[2];
			memcpy(left, a + (ptrdiff_t)i * size, size);
			memcpy(right, a + (ptrdiff_t)j * size, size);
			memcpy(b + (ptrdiff_t)i * size, right, size);
			memcpy(b + (ptrdiff_t)j * size, left, size);
		}
	}
}

int decoder_picture_new(decoder_picture *p, int width, int height) {
	*p = (decoder_picture){.frame = av_frame_alloc()};
	// Its pages are only taken up where they are needed.
	p->own = av_malloc((size_t)width * height + AV_INPUT_BUFFER_PADDING_SIZE);
	if (p->frame && p->own)
		return 0;
	decoder_picture_free(p);
	return AVERROR(ENOMEM);
}

void decoder_picture_free(decoder_picture *p) {
	av_frame_free(&p->frame);
	av_freep(&p->own);
}

// gray_of returns the format of the luma plane of a planar format, or
// AV_PIX_FMT_NONE where it has none that can be used as it is.
static enum AVPixelFormat gray_of(enum AVPixelFormat format) {
	const AVPixFmtDescriptor *t = av_pix_fmt_desc_get(format);
	if (!t || t->flags & (AV_PIX_FMT_FLAG_RGB | AV_PIX_FMT_FLAG_PAL | AV_PIX_FMT_FLAG_BITSTREAM | AV_PIX_FMT_FLAG_HWACCEL | AV_PIX_FMT_FLAG_FLOAT))
		return AV_PIX_FMT_NONE;
	const AVComponentDescriptor *luma = &t->comp[0];
	if (luma->plane != 0 || luma->offset != 0 || luma->shift != 0)
		return AV_PIX_FMT_NONE;
	if (luma->depth == 8 && luma->step == 1)
		return AV_PIX_FMT_GRAY8;
	if (luma->depth > 8 && luma->step == 2) {
		char name[24];
		snprintf(name, sizeof name, "gray%d%s", luma->depth, t->flags & AV_PIX_FMT_FLAG_BE ? "be" : "le");
		return av_get_pix_fmt(name);
	}
	return AV_PIX_FMT_NONE;
}

// scaler returns a context for one conversion, kept between pictures. range is
// that of the samples as the picture says, which only counts where it says so.
static struct SwsContext *scaler(struct SwsContext **kept, int w, int h, enum AVPixelFormat from, enum AVColorRange range, int to_w, int to_h, enum AVPixelFormat to, int flags) {
	struct SwsContext *c = *kept = sws_getCachedContext(*kept, w, h, from, to_w, to_h, to, flags, NULL, NULL, NULL);
	if (c && range != AVCOL_RANGE_UNSPECIFIED) {
		int *from_table, *to_table, from_full, to_full, brightness, contrast, saturation;
		if (sws_getColorspaceDetails(c, &from_table, &from_full, &to_table, &to_full, &brightness, &contrast, &saturation) >= 0)
			sws_setColorspaceDetails(c, from_table, range == AVCOL_RANGE_JPEG, to_table, to_full, brightness, contrast, saturation);
	}
	return c;
}

// Formats with a luma plane, for pictures that have none.
static const enum AVPixelFormat planar_formats[] = {
	AV_PIX_FMT_YUV420P, AV_PIX_FMT_YUV422P, AV_PIX_FMT_YUV444P, AV_PIX_FMT_YUV411P, AV_PIX_FMT_GRAY8,
	AV_PIX_FMT_YUV420P10, AV_PIX_FMT_YUV422P10, AV_PIX_FMT_YUV444P10, AV_PIX_FMT_YUV444P16, AV_PIX_FMT_GRAY16, AV_PIX_FMT_NONE,
};

// to_planar converts the picture f into d->planar.
static int to_planar(decoder *d, const AVFrame *f) {
	const enum AVPixelFormat format = avcodec_find_best_pix_fmt_of_list(planar_formats, f->format, 0, NULL);
	struct SwsContext *c = scaler(&d->to_luma, f->width, f->height, f->format, f->color_range, f->width, f->height, format, SWS_BICUBIC);
	if (!c)
		return AVERROR(ENOSYS);
	AVFrame *y = d->planar;
	if (y->width != f->width || y->height != f->height || y->format != format) {
		av_frame_unref(y);
		y->format = format;
		y->width = f->width;
		y->height = f->height;
		int err = av_frame_get_buffer(y, 0);
		if (err < 0)
			return err;
	}
	y->color_range = f->color_range;
	int err = sws_scale(c, (const uint8_t *const *)f->data, f->linesize, 0, f->height, y->data, y->linesize);
	return err < 0 ? err : 0;
}

// deliver makes p's pixels of its frame.
static int deliver(decoder *d, decoder_picture *p) {
	const AVFrame *f = p->frame;
	if (f->format < 0 || f->width <= 0 || f->height <= 0)
		return AVERROR_INVALIDDATA;
	enum AVPixelFormat gray = gray_of(f->format);
	if (gray == AV_PIX_FMT_NONE) {
		int err = to_planar(d, f);
		if (err < 0)
			return err;
		f = d->planar;
		gray = gray_of(f->format);
	}
	const uint8_t *pixels = f->data[0];
	int stride = f->linesize[0], w = f->width, h = f->height, size = gray == AV_PIX_FMT_GRAY8 ? 1 : 2;
	if (d->mirrored) {
		av_fast_malloc(&d->flipped, &d->flipped_size, (size_t)w * h * size + AV_INPUT_BUFFER_PADDING_SIZE);
		if (!d->flipped)
			return AVERROR(ENOMEM);
		mirror(d->flipped, (ptrdiff_t)w * size, pixels, stride, w, h, size);
		pixels = d->flipped;
		stride = w * size;
	}
	if (d->rotation % 180 != 0) {
		w = f->height;
		h = f->width;
	}
	const int fits = gray == AV_PIX_FMT_GRAY8 && w == d->width && h == d->height;
	if (d->rotation != 0) {
		uint8_t *to = p->own;
		if (!fits) {
			av_fast_malloc(&d->turned, &d->turned_size, (size_t)w * h * size + AV_INPUT_BUFFER_PADDING_SIZE);
			to = d->turned;
			if (!to)
				return AVERROR(ENOMEM);
		}
		decoder_turn(to, pixels, stride, f->width, f->height, size, d->rotation);
		pixels = to;
		stride = w * size;
	}
	if (!fits) {
		// Ten bits to eight, or a size that changes in the middle of a damaged clip.
		struct SwsContext *c = scaler(&d->to_size, w, h, gray, f->color_range, d->width, d->height, AV_PIX_FMT_GRAY8, SWS_BICUBIC);
		if (!c)
			return AVERROR(ENOSYS);
		const uint8_t *const from[4] = {pixels};
		uint8_t *const to[4] = {p->own};
		int err = sws_scale(c, from, (const int[4]){stride}, 0, h, to, (const int[4]){d->width});
		if (err < 0)
			return err;
		pixels = p->own;
	} else if (stride != w || pixels == d->planar->data[0] || pixels == d->flipped) {
		av_image_copy_plane(p->own, w, pixels, stride, w, h);
		pixels = p->own;
	}
	p->pixels = pixels;
	return 0;
}

static const char impossible[] = "its bytes are none of a picture", incomplete[] = "a part of its data is missing";

// say keeps what goes wrong with the packet at hand.
static void say(decoder *d, const char *text) {
	pthread_mutex_lock(&d->saying);
	if (!*d->said)
		av_strlcpy(d->said, text, sizeof d->said);
	if (!*d->heard)
		av_strlcpy(d->heard, text, sizeof d->heard);
	pthread_mutex_unlock(&d->saying);
}

// note keeps that the packet of the given serial number is harmed.
static void note(decoder *d, int64_t serial, decoder_harm harm) {
	if (d->harmed_count == d->harmed_room) {
		const int room = 2 * d->harmed_room + 64;
		struct harmed *more = av_realloc_array(d->harmed, room, sizeof *more);
		if (!more) {
			d->harm = 1; // The next picture has the room again, or is harmed, too.
			return;
		}
		d->harmed = more;
		d->harmed_room = room;
	}
	d->harmed[d->harmed_count++] = (struct harmed){serial, harm};
}

static int noted(const decoder *d, int64_t serial) {
	if (serial > d->late_from && serial < d->late_to)
		return 1;
	for (int i = d->harmed_count - 1; i >= 0; i--)
		if (d->harmed[i].serial == serial)
			return 1;
	return 0;
}

// number gives the packet at hand a number, which the pictures decoded from it carry.
static void number(decoder *d, int64_t serial) {
#if LIBAVCODEC_VERSION_MAJOR < 60
	d->codec->reordered_opaque = serial;
#else
	d->packet->opaque = (void *)(intptr_t)serial;
#endif
}

static int64_t serial_of(const AVFrame *f) {
#if LIBAVCODEC_VERSION_MAJOR < 60
	return f->reordered_opaque;
#else
	return (intptr_t)f->opaque;
#endif
}

// send gives the decoder the packet at hand. Careful decoding is done with it when
// this returns: what it told of meanwhile belongs to this packet. What is predicted
// from a harmed picture is harmed, up to the next key picture, and so are pictures
// that follow that one in the file and are shown before it.
static void send(decoder *d) {
	const int corrupt = (d->packet->flags & AV_PKT_FLAG_CORRUPT) != 0; // The container says so itself.
	const int hole = d->length_size && !possible(d->packet->data, d->packet->size, d->length_size);
	d->codec->skip_frame = d->packet->pts != AV_NOPTS_VALUE && d->packet->pts < d->wanted ? AVDISCARD_NONREF : AVDISCARD_DEFAULT;
	if (!d->careful) {
		if (hole || corrupt) {
			atomic_fetch_add(&d->errors, 1);
			say(d, hole ? impossible : incomplete);
		}
		avcodec_send_packet(d->codec, d->packet);
		return;
	}
	const AVPacket *packet = d->packet;
	const int64_t stamp = packet->pts != AV_NOPTS_VALUE ? packet->pts : packet->dts;
	const int key = packet->flags & AV_PKT_FLAG_KEY, disposable = packet->flags & AV_PKT_FLAG_DISPOSABLE;
	if (key) {
		d->lead_harm = d->harm;
		d->lead_stamp = stamp;
		d->harm = 0;
		d->key_serial = d->serial + 1;
		if (d->late_to == INT64_MAX)
			d->late_to = d->key_serial;
	}
	int harm = d->harm || (d->lead_harm && !key && stamp < d->lead_stamp);
	decoder_harm told = {.stamp = stamp, .stamped = stamp != AV_NOPTS_VALUE};
	atomic_store(&d->errors, 0);
	pthread_mutex_lock(&d->saying);
	*d->heard = 0;
	pthread_mutex_unlock(&d->saying);
	d->serial++;
	number(d, d->serial);
	const int err = avcodec_send_packet(d->codec, d->packet);
	told.errors = atomic_load(&d->errors);
	if (hole || corrupt) {
		told.errors++;
		say(d, hole ? impossible : incomplete);
	}
	if (!told.errors && err < 0 && err != AVERROR(EAGAIN) && err != AVERROR_EOF)
		told.errors = 1;
	if (told.errors) {
		harm = 1;
		if (!disposable)
			d->harm = 1;
		av_strlcpy(told.said, d->heard, sizeof told.said);
	}
	if (harm)
		note(d, d->serial, told);
}

// whole returns whether the picture just received was decoded without errors, from
// pictures that were.
static int whole(decoder *d, const AVFrame *f) {
	const int blank = d->leaves_blanks && blanks(f);
	if (blank || f->decode_error_flags || f->flags & AV_FRAME_FLAG_CORRUPT) {
		if (d->careful && !noted(d, serial_of(f))) {
			const decoder_harm told = {.stamp = f->best_effort_timestamp, .stamped = f->best_effort_timestamp != AV_NOPTS_VALUE, .errors = 1};
			note(d, serial_of(f), told);
			d->late_from = serial_of(f);
			d->late_to = d->key_serial > d->late_from ? d->key_serial : INT64_MAX;
			if (d->late_to == INT64_MAX)
				d->harm = 1;
			else
				d->lead_harm = 1;
		}
		return 0;
	}
	if (!d->careful)
		return atomic_load(&d->errors) == 0;
	return !noted(d, serial_of(f));
}

int decoder_errors(decoder *d) { return atomic_load(&d->errors); }

int decoder_harmed(const decoder *d, int i, decoder_harm *harm) {
	if (i < 0 || i >= d->harmed_count)
		return 0;
	*harm = d->harmed[i].harm;
	return 1;
}

static int next(decoder *d, decoder_picture *p) {
	for (;;) {
		if (stopped(d))
			return AVERROR_EXIT;
		int err = avcodec_receive_frame(d->codec, p->frame);
		if (err == 0) {
			p->stamp = p->frame->best_effort_timestamp;
			if (p->stamp == AV_NOPTS_VALUE && d->draining && d->next_stamp != AV_NOPTS_VALUE)
				p->stamp = d->next_stamp; // Old containers don't stamp the last picture.
			p->stamped = p->stamp != AV_NOPTS_VALUE;
			const AVRational aspect = p->frame->sample_aspect_ratio;
			p->aspect = d->stream->sample_aspect_ratio.num <= 0 && aspect.num > 0 && aspect.den > 0 ? av_q2d(aspect) : 0;
			d->next_stamp = p->stamped && d->interval > 0 ? p->stamp + d->interval : AV_NOPTS_VALUE;
			p->whole = whole(d, p->frame);
			return deliver(d, p);
		}
		if (err == AVERROR_EOF)
			return err;
		if (d->draining) {
			// A damaged packet costs its picture, and others may still come.
			const int most = 1000;
			if (err == AVERROR(EAGAIN) || ++d->drained_errors > most)
				return AVERROR_EOF;
			continue;
		}
		err = read_packet(d);
		if (err == AVERROR_EXIT)
			return err;
		if (err < 0) {
			// What was read of a clip that breaks off is decoded to its end.
			d->draining = 1;
			avcodec_send_packet(d->codec, NULL);
			continue;
		}
		send(d);
		av_packet_unref(d->packet);
	}
}

int decoder_next(decoder *d, decoder_picture *p) {
	inside = d;
	int err = next(d, p);
	inside = NULL;
	return err;
}

int decoder_small(decoder *d, const decoder_picture *p, int width, int height, uint8_t *planes) {
	const AVFrame *f = p->frame;
	const int upended = d->rotation % 180 != 0;
	const int w = upended ? height : width, h = upended ? width : height;
	struct SwsContext *c = scaler(&d->to_small, f->width, f->height, f->format, f->color_range, w, h, AV_PIX_FMT_YUV420P, SWS_FAST_BILINEAR);
	if (!c)
		return AVERROR(ENOSYS);
	const size_t luma = (size_t)w * h, chroma = luma / 4;
	uint8_t *to = planes;
	if (d->rotation != 0) {
		av_fast_malloc(&d->smaller, &d->smaller_size, luma + 2 * chroma + AV_INPUT_BUFFER_PADDING_SIZE);
		to = d->smaller;
		if (!to)
			return AVERROR(ENOMEM);
	}
	uint8_t *const data[4] = {to, to + luma, to + luma + chroma};
	inside = d;
	int err = sws_scale(c, (const uint8_t *const *)f->data, f->linesize, 0, f->height, data, (const int[4]){w, w / 2, w / 2});
	inside = NULL;
	if (err < 0)
		return err;
	if (d->mirrored) {
		mirror(to, w, to, w, w, h, 1);
		mirror(to + luma, w / 2, to + luma, w / 2, w / 2, h / 2, 1);
		mirror(to + luma + chroma, w / 2, to + luma + chroma, w / 2, w / 2, h / 2, 1);
	}
	if (d->rotation != 0) {
		decoder_turn(planes, to, w, w, h, 1, d->rotation);
		decoder_turn(planes + luma, to + luma, w / 2, w / 2, h / 2, 1, d->rotation);
		decoder_turn(planes + luma + chroma, to + luma + chroma, w / 2, w / 2, h / 2, 1, d->rotation);
	}
	return 0;
}

// Transposing goes by squares of whole vectors, in rounds that each interleave
// the rows of both halves: after the last, rows are columns.
typedef uint8_t bytes __attribute__((vector_size(16)));
typedef uint16_t words __attribute__((vector_size(16)));

#define SQUARE(name, vector, element, n, LOW, HIGH)                                                      \
	static inline void name(uint8_t *to, ptrdiff_t to_stride, const uint8_t *from, ptrdiff_t stride) {   \
		vector a[n], b[n];                                                                               \
		for (int i = 0; i < n; i++)                                                                      \
			memcpy(&a[i], from + i * stride, sizeof a[i]);                                               \
		for (int round = n; round > 1; round /= 2) {                                                     \
			for (int i = 0; i < n / 2; i++) {                                                            \
				b[2 * i] = __builtin_shuffle(a[i], a[i + n / 2], LOW);                                   \
				b[2 * i + 1] = __builtin_shuffle(a[i], a[i + n / 2], HIGH);                              \
			}                                                                                            \
			memcpy(a, b, sizeof a);                                                                      \
		}                                                                                                \
		for (int i = 0; i < n; i++)                                                                      \
			memcpy(to + i * to_stride, &a[i], sizeof a[i]);                                              \
	}

SQUARE(square_bytes, bytes, uint8_t, 16,
	((bytes){0, 16, 1, 17, 2, 18, 3, 19, 4, 20, 5, 21, 6, 22, 7, 23}),
	((bytes){8, 24, 9, 25, 10, 26, 11, 27, 12, 28, 13, 29, 14, 30, 15, 31}))
SQUARE(square_words, words, uint16_t, 8, ((words){0, 8, 1, 9, 2, 10, 3, 11}), ((words){4, 12, 5, 13, 6, 14, 7, 15}))

// transpose writes the columns of from, width × height, as rows.
static void transpose(uint8_t *to, ptrdiff_t to_stride, const uint8_t *from, ptrdiff_t stride, int width, int height, int size) {
	const int n = 16 / size;
	for (int y = 0; y < height; y += n) {
		for (int x = 0; x < width; x += n) {
			const uint8_t *a = from + y * stride + x * size;
			uint8_t *b = to + x * to_stride + y * size;
			if (x + n <= width && y + n <= height) {
				if (size == 1)
					square_bytes(b, to_stride, a, stride);
				else
					square_words(b, to_stride, a, stride);
				continue;
			}
			for (int j = 0; j < n && y + j < height; j++)
				for (int i = 0; i < n && x + i < width; i++)
					memcpy(b + i * to_stride + j * size, a + j * stride + i * size, size);
		}
	}
}

void decoder_turn(uint8_t *to, const uint8_t *from, int stride, int width, int height, int size, int rotation) {
	const ptrdiff_t row = stride, turned_row = (ptrdiff_t)height * size;
	switch (rotation) {
	case 90: // Columns, from the last row up.
		transpose(to, turned_row, from + (height - 1) * row, -row, width, height, size);
		break;
	case 270: // Columns, the last one first.
		transpose(to + (width - 1) * turned_row, -turned_row, from, row, width, height, size);
		break;
	case 180:
		for (int y = 0; y < height; y++) {
			const uint8_t *a = from + (height - 1 - y) * row;
			uint8_t *b = to + (ptrdiff_t)y * width * size;
			if (size == 1) {
				for (int x = 0; x < width; x++)
					b[x] = a[width - 1 - x];
			} else {
				for (int x = 0; x < width; x++)
					memcpy(b + 2 * x, a + 2 * (width - 1 - x), 2);
			}
		}
		break;
	default:
		av_image_copy_plane(to, width * size, from, stride, width * size, height);
	}
}
