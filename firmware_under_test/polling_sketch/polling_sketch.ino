// Bow thruster of a model harbour tug, forward only: six steps, the comparator polled, waits by
// delay. One file, a board with the usual pins.
//
// HAZARD: propeller off, motor held down, supply with a current limit, eye protection.

#include <avr/io.h>

// high side: pins 9, 10 (timer 1) and 11 (timer 2); low side: pins 3, 4, 5
const byte HIGH_U = 9, HIGH_V = 10, HIGH_W = 11;
const byte LOW_U = 3, LOW_V = 4, LOW_W = 5;
const byte STICK = 2;   // servo pulses
// A0, A1, A2: phases through dividers; pin 6: the neutral; pin 7: ground

// what the thruster is doing; a register of its own, so that a debugger sees it
#define doing GPIOR0
const byte OFF = 0, ARMED = 1, ALIGNING = 4, RAMPING = 5, RUNNING = 6;

const unsigned NEUTRAL_US = 1160, FULL_US = 1900;   // below: off
const byte SLOWEST = 62, FULL = 240;
const byte ALIGN_DUTY = 28, RAMP_DUTY = 60;

volatile unsigned long rose_us, pulse_ms;
volatile unsigned width_us;
volatile byte pulses;
byte step;

void stickChanged() {
  if (digitalRead(STICK)) {
    rose_us = micros();
    return;
  }
  unsigned long us = micros() - rose_us;
  if (us < 800 || us > 2200) {
    pulses = 0;
    return;
  }
  width_us = us;
  pulse_ms = millis();
  if (us > NEUTRAL_US) pulses = 0;
  else if (pulses < 255) pulses++;
}

unsigned stick() {
  noInterrupts();
  unsigned us = width_us;
  unsigned long at = pulse_ms;
  interrupts();
  if (millis() - at > 100) return 0;   // no pulses any more
  return us;
}

void allOff() {
  TCCR1A = _BV(WGM10);
  TCCR2A = _BV(WGM20);
  PORTD &= ~(_BV(PD3) | _BV(PD4) | _BV(PD5));
}

void duty(byte counts) {
  OCR1A = counts;
  OCR1B = counts;
  OCR2A = counts;
}

// one leg chopped, one low, one left open and led to the comparator
void drive(byte s) {
  allOff();
  delayMicroseconds(2);
  switch (s) {
    case 0: PORTD |= _BV(PD4); TCCR1A |= _BV(COM1A1); ADMUX = 2; break;
    case 1: PORTD |= _BV(PD5); TCCR1A |= _BV(COM1A1); ADMUX = 1; break;
    case 2: PORTD |= _BV(PD5); TCCR1A |= _BV(COM1B1); ADMUX = 0; break;
    case 3: PORTD |= _BV(PD3); TCCR1A |= _BV(COM1B1); ADMUX = 2; break;
    case 4: PORTD |= _BV(PD3); TCCR2A |= _BV(COM2A1); ADMUX = 1; break;
    case 5: PORTD |= _BV(PD4); TCCR2A |= _BV(COM2A1); ADMUX = 0; break;
  }
}

void next() {
  step = step == 5 ? 0 : step + 1;
  drive(step);
}

// the open phase has crossed: in odd steps it rises above the neutral, in even ones it falls below
bool crossed() {
  byte votes = 0;
  for (byte k = 0; k < 5; k++)
    if (!(ACSR & _BV(ACO))) votes++;
  return (votes >= 3) == (step & 1);
}

bool start() {
  doing = ALIGNING;
  duty(ALIGN_DUTY);
  step = 2;
  drive(step);
  delay(200);
  next();
  delay(250);
  doing = RAMPING;
  duty(RAMP_DUTY);
  unsigned long us = 12000;
  byte good = 0;
  for (byte k = 0; k < 120; k++) {
    next();
    unsigned long began = micros();
    bool before = false, after = false;
    while (micros() - began < us) {
      if (micros() - began < us / 3) continue;
      if (!crossed()) before = true;
      else if (before) after = true;
    }
    good = after ? good + 1 : 0;
    if (us > 1100) us -= us / 12;
    else if (good >= 6) return true;
  }
  return false;
}

void run() {
  unsigned long step_us = 1000, last_us = micros();
  byte now_duty = RAMP_DUTY;
  byte missed = 0;
  doing = RUNNING;
  for (;;) {
    unsigned us = stick();
    if (us <= NEUTRAL_US) return;
    byte wanted = constrain(map(us, NEUTRAL_US, FULL_US, SLOWEST, FULL), SLOWEST, FULL);
    if (now_duty < wanted) now_duty++;
    else if (now_duty > wanted) now_duty--;
    duty(now_duty);

    next();
    unsigned long began = micros();
    while (micros() - began < step_us / 3) { }
    while (!crossed())
      if (micros() - began > 2 * step_us) {
        if (++missed > 6) return;
        break;
      }
    unsigned long at = micros();
    if (at - began <= 2 * step_us) missed = 0;
    step_us = (3 * step_us + (at - last_us)) / 4;
    last_us = at;
    unsigned long wait = step_us / 2;
    if (wait > 20) wait -= 20;   // what the code itself takes
    while (micros() - at < wait) { }
  }
}

void setup() {
  pinMode(HIGH_U, OUTPUT);
  pinMode(HIGH_V, OUTPUT);
  pinMode(HIGH_W, OUTPUT);
  pinMode(LOW_U, OUTPUT);
  pinMode(LOW_V, OUTPUT);
  pinMode(LOW_W, OUTPUT);
  pinMode(STICK, INPUT_PULLUP);
  allOff();
  TCCR1B = _BV(CS10);   // 31 kHz, phase-correct
  TCCR2B = _BV(CS20);
  ADCSRA = 0;           // the multiplexer belongs to the comparator
  ADCSRB = _BV(ACME);
  DIDR1 = _BV(AIN0D) | _BV(AIN1D);
  Serial.begin(57600);
  Serial.println("thruster");
  attachInterrupt(digitalPinToInterrupt(STICK), stickChanged, CHANGE);
  doing = OFF;
}

void loop() {
  if (doing == OFF) {
    if (pulses < 25) return;   // half a second of neutral
    doing = ARMED;
    Serial.println("armed");
  }
  if (stick() > NEUTRAL_US + 10) {
    if (start()) run();
    allOff();
    doing = ARMED;
    delay(500);
  }
}
