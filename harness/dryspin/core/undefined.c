/*
 * undefined.c - what C leaves undefined, told with its values instead of by the compiler's run-time.
 *
 * The checked build is compiled with -fsanitize=undefined; the layouts below are those that gcc and
 * clang hand over (clang documentation, "UndefinedBehaviorSanitizer"; the headers of its run-time,
 * ubsan_handlers.h and ubsan_value.h). Each place is told once a run, and the run goes on, as the
 * code would on the part; what cannot go on (an end of a function without its value) ends as a crash.
 */
#include "controller.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ROOM 64

typedef struct { const char *file; uint32_t line, column; } place;
typedef struct { uint16_t kind, info; char name[]; } type;
typedef uintptr_t handle;

static core_undefined found[ROOM];
static int32_t rows;

void undefined_forget(void)
{
	rows = 0;
}

int32_t core_undefined_rows(const core_undefined **at)
{
	*at = found;
	return rows;
}

#define KIND_INTEGER 0
#define VALUE_ROOM 32

static int bits_of(const type *t)
{
	return 1 << (t->info >> 1);
}

static int is_signed(const type *t)
{
	return t->info & 1;
}

/* A value of up to `held` bits stands in the handle itself, a longer one elsewhere. */
static void write_value(char *to, size_t room, const type *t, handle v, int held)
{
	int bits = bits_of(t);
	if (t->kind != KIND_INTEGER || bits > held) {
		snprintf(to, room, "a value");
		return;
	}
	uint64_t raw = bits == 64 ? (uint64_t)v : (uint64_t)v & ((UINT64_C(1) << bits) - 1);
	if (is_signed(t) && bits < 64 && (raw >> (bits - 1)) != 0)
		raw |= ~UINT64_C(0) << bits;
	if (is_signed(t))
		snprintf(to, room, "%lld", (long long)raw);
	else
		snprintf(to, room, "%llu", (unsigned long long)raw);
}

static core_undefined *new_row(void *const *frame)
{
	uint32_t pc = (uint32_t)((uintptr_t)frame[1] - core_text_base());
	for (int32_t k = 0; k < rows; k++)
		if (found[k].pc == pc)
			return 0;
	if (rows >= ROOM)
		return 0;
	core_undefined *r = &found[rows++];
	memset(r, 0, sizeof *r);
	r->cycle = ctl.now;
	r->pc = pc;
	r->context = ctl.context;
	r->depth = stack_chain(frame[0], r->chain, (int32_t)(sizeof r->chain / sizeof r->chain[0]));
	return r;
}

#define TELL(frame, ...) \
	do { \
		core_undefined *r_ = new_row(frame); \
		if (r_) \
			snprintf(r_->text, sizeof r_->text, __VA_ARGS__); \
	} while (0)

typedef struct { place at; const type *of; } typed;

typedef struct { place at; const type *left, *right; } shifted;

static void tell_sum(void *const *frame, const typed *d, handle l, handle r, int held, const char *sign)
{
	char a[VALUE_ROOM], b[VALUE_ROOM];
	write_value(a, sizeof a, d->of, l, held);
	write_value(b, sizeof b, d->of, r, held);
	TELL(frame, "integer overflow: %s %s %s does not fit %.40s", a, sign, b, d->of->name);
}

static void tell_quotient(void *const *frame, const typed *d, handle l, handle r, int held)
{
	char a[VALUE_ROOM], b[VALUE_ROOM];
	write_value(a, sizeof a, d->of, l, held);
	write_value(b, sizeof b, d->of, r, held);
	if (strcmp(b, "0") == 0)
		TELL(frame, "division of %s by 0", a);
	else
		TELL(frame, "integer overflow: %s / %s does not fit %.40s", a, b, d->of->name);
}

static void tell_negation(void *const *frame, const typed *d, handle v, int held)
{
	char a[VALUE_ROOM];
	write_value(a, sizeof a, d->of, v, held);
	TELL(frame, "integer overflow: -(%s) does not fit %.40s", a, d->of->name);
}

static void tell_shift(void *const *frame, const shifted *d, handle l, handle r, int held)
{
	char a[VALUE_ROOM], b[VALUE_ROOM];
	write_value(a, sizeof a, d->left, l, held);
	write_value(b, sizeof b, d->right, r, held);
	int64_t by = atoll(b);
	if (by < 0 || by >= bits_of(d->left))
		TELL(frame, "shift of %s by %s places, %.40s has %d", a, b, d->left->name, bits_of(d->left));
	else if (a[0] == '-')
		TELL(frame, "shift of the negative value %s", a);
	else
		TELL(frame, "shift of %s by %s places does not fit %.40s", a, b, d->left->name);
}

/* The checked build's handles have 64 bits; those of the build with the part's integers 16. */
#define TWO(name, of, call) \
	void __ubsan_handle_##name(const of *d, handle l, handle r); \
	void __ubsan_handle_##name(const of *d, handle l, handle r) \
	{ \
		const int held = 64; \
		call; \
	} \
	void __narrow_handle_##name(const of *d, uint16_t l, uint16_t r); \
	void __narrow_handle_##name(const of *d, uint16_t l, uint16_t r) \
	{ \
		const int held = 16; \
		call; \
	}
TWO(add_overflow, typed, tell_sum(__builtin_frame_address(0), d, l, r, held, "+"))
TWO(sub_overflow, typed, tell_sum(__builtin_frame_address(0), d, l, r, held, "-"))
TWO(mul_overflow, typed, tell_sum(__builtin_frame_address(0), d, l, r, held, "*"))
TWO(divrem_overflow, typed, tell_quotient(__builtin_frame_address(0), d, l, r, held))
TWO(shift_out_of_bounds, shifted, tell_shift(__builtin_frame_address(0), d, l, r, held))

void __ubsan_handle_negate_overflow(const typed *d, handle v);
void __ubsan_handle_negate_overflow(const typed *d, handle v)
{
	tell_negation(__builtin_frame_address(0), d, v, 64);
}

void __narrow_handle_negate_overflow(const typed *d, uint16_t v);
void __narrow_handle_negate_overflow(const typed *d, uint16_t v)
{
	tell_negation(__builtin_frame_address(0), d, v, 16);
}

#define HERE __builtin_frame_address(0)

typedef struct { place at; const type *array, *index; } indexed;

void __ubsan_handle_out_of_bounds(const indexed *d, handle i);
void __ubsan_handle_out_of_bounds(const indexed *d, handle i)
{
	char a[VALUE_ROOM];
	write_value(a, sizeof a, d->index, i, 64);
	TELL(HERE, "index %s is out of bounds of %.60s", a, d->array->name);
}

typedef struct { place at; const type *of; uint8_t log_alignment, check; } mismatched;

void __ubsan_handle_type_mismatch_v1(const mismatched *d, handle at);
void __ubsan_handle_type_mismatch_v1(const mismatched *d, handle at)
{
	static const char *const what[] = {"read through", "write through", "reference bound to", "member of",
	                                   "member call on", "member of"};
	const char *how = d->check < sizeof what / sizeof what[0] ? what[d->check] : "use of";
	uintptr_t alignment = (uintptr_t)1 << d->log_alignment;
	if (at == 0)
		TELL(HERE, "%s a null pointer of type %.60s", how, d->of->name);
	else if ((at & (alignment - 1)) != 0)
		TELL(HERE, "%s a pointer %d bytes off the alignment of %.50s, %d", how, (int)(at & (alignment - 1)),
		     d->of->name, (int)alignment);
	else
		TELL(HERE, "%s a pointer with too little room for %.60s", how, d->of->name);
}

typedef struct { place at; } placed;

void __ubsan_handle_pointer_overflow(const placed *d, handle from, handle to);
void __ubsan_handle_pointer_overflow(const placed *d, handle from, handle to)
{
	(void)d;
	if (from == 0)
		TELL(HERE, "arithmetic on a null pointer");
	else
		TELL(HERE, "pointer arithmetic beyond its object, by %lld bytes", (long long)(int64_t)(to - from));
}

void __ubsan_handle_load_invalid_value(const typed *d, handle v);
void __ubsan_handle_load_invalid_value(const typed *d, handle v)
{
	/* the value of a bool comes as its byte, with no sign to trust */
	TELL(HERE, "read of the value %u, which is none of %.60s", (unsigned)(v & 0xFFU), d->of->name);
}

void __ubsan_handle_vla_bound_not_positive(const typed *d, handle v);
void __ubsan_handle_vla_bound_not_positive(const typed *d, handle v)
{
	char a[VALUE_ROOM];
	write_value(a, sizeof a, d->of, v, 64);
	TELL(HERE, "an array of %s elements", a);
}

void __ubsan_handle_float_cast_overflow(const void *d, handle v);
void __ubsan_handle_float_cast_overflow(const void *d, handle v)
{
	(void)d;
	(void)v;
	TELL(HERE, "a floating value beyond the range of the integer it becomes");
}

void __ubsan_handle_nonnull_arg(const void *d);
void __ubsan_handle_nonnull_arg(const void *d)
{
	(void)d;
	TELL(HERE, "a null pointer for an argument that must not be one");
}

void __ubsan_handle_invalid_builtin(const void *d);
void __ubsan_handle_invalid_builtin(const void *d)
{
	(void)d;
	TELL(HERE, "a count of leading or trailing zeros of 0");
}

void __ubsan_handle_function_type_mismatch(const void *d, handle f);
void __ubsan_handle_function_type_mismatch(const void *d, handle f)
{
	(void)d;
	(void)f;
	TELL(HERE, "a call through a pointer to a function of another type");
}

void __ubsan_handle_builtin_unreachable(const placed *d);
void __ubsan_handle_builtin_unreachable(const placed *d)
{
	(void)d;
	TELL(HERE, "a place that was promised never to be reached");
	__builtin_trap();
}

void __ubsan_handle_missing_return(const placed *d);
void __ubsan_handle_missing_return(const placed *d)
{
	(void)d;
	TELL(HERE, "the end of a function without the value it returns");
	__builtin_trap();
}
