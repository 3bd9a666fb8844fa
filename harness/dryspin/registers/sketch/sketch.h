/*
 * sketch.h - the functions that sketches are written with, over the part's registers.
 *
 * Pins are counted as is usual on boards with this part: 0 to 7 are PD0 to PD7, 8 to 13 PB0 to PB5, A0 to A5
 * PC0 to PC5. As usual, too, the functions take timer 0 for the clock (fast PWM, prescaler 64, its overflow),
 * put timers 1 and 2 into phase-correct PWM of 8 bits with prescaler 64, and turn the ADC on: a sketch that
 * wants the comparator's multiplexer turns it off again.
 */
#ifndef DRYSPIN_SKETCH_H
#define DRYSPIN_SKETCH_H

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <stdint.h>

typedef uint8_t byte;
typedef uint16_t word;
typedef bool boolean;

#define HIGH 1
#define LOW 0
#define INPUT 0
#define OUTPUT 1
#define INPUT_PULLUP 2
#define CHANGE 1
#define FALLING 2
#define RISING 3
#define DEC 10
#define HEX 16
#define OCT 8
#define BIN 2
#define PI 3.14159265358979323846
#define LED_BUILTIN 13

enum { A0 = 14, A1, A2, A3, A4, A5 };

#define F(text) (text)
#define bitRead(value, bit) (((value) >> (bit)) & 1)
#define bitSet(value, bit) ((value) |= (1UL << (bit)))
#define bitClear(value, bit) ((value) &= ~(1UL << (bit)))
#define bitWrite(value, bit, on) ((on) ? bitSet(value, bit) : bitClear(value, bit))
#define bit(n) (1UL << (n))
#define lowByte(w) ((uint8_t)((w) & 0xFF))
#define highByte(w) ((uint8_t)((w) >> 8))
#define constrain(x, low, high) ((x) < (low) ? (low) : ((x) > (high) ? (high) : (x)))
#define interrupts() sei()
#define noInterrupts() cli()
#define digitalPinToInterrupt(pin) ((pin) == 2 ? 0 : ((pin) == 3 ? 1 : -1))
#define sq(x) ((x) * (x))

template <class A, class B> inline auto min(A a, B b) -> decltype(a < b ? a : b) { return a < b ? a : b; }
template <class A, class B> inline auto max(A a, B b) -> decltype(a > b ? a : b) { return a > b ? a : b; }
template <class A> inline A abs(A a) { return a < 0 ? -a : a; }

void setup(void);
void loop(void);

void pinMode(uint8_t pin, uint8_t mode);
void digitalWrite(uint8_t pin, uint8_t level);
int digitalRead(uint8_t pin);
int analogRead(uint8_t pin);
/* 0 and 255 are plain levels; between them the pin's compare output, where it has one. */
void analogWrite(uint8_t pin, int value);
/* Overflows of timer 0: 1.024 ms each at 16 MHz, fractions carried. */
uint32_t millis(void);
/* In steps of 4 us at 16 MHz. */
uint32_t micros(void);
void delay(uint32_t ms);
void delayMicroseconds(unsigned us);
/* Length of a pulse in us, 0 if none has come and gone within the time-out. */
uint32_t pulseIn(uint8_t pin, uint8_t level, uint32_t timeout_us = 1000000UL);
void attachInterrupt(uint8_t number, void (*handler)(void), int mode);
void detachInterrupt(uint8_t number);
long map(long x, long from_low, long from_high, long to_low, long to_high);
long random(long end);
long random(long begin, long end);
void randomSeed(uint32_t seed);

/* The serial output; nothing is ever received. */
class SerialOutput {
public:
	void begin(uint32_t baud);
	void end(void) { }
	void flush(void);
	int available(void) { return 0; }
	int read(void) { return -1; }
	void write(uint8_t byte);
	void print(const char *text);
	void print(char c) { write((uint8_t)c); }
	void print(int n, int base = DEC) { print((long)n, base); }
	void print(unsigned n, int base = DEC) { print((unsigned long)n, base); }
	void print(long n, int base = DEC);
	void print(unsigned long n, int base = DEC);
	void print(double x, int digits = 2);
	void println(void) { print("\r\n"); }
	template <class T> void println(T x) { print(x); println(); }
	template <class T> void println(T x, int base) { print(x, base); println(); }
	explicit operator bool() const { return true; }
};

extern SerialOutput Serial;

#endif
