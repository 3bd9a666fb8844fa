// Bow thruster for the harbour tug, second try. P-channel MOSFETs on top (driven through NPNs, so HIGH = on),
// N-channel below. One way only for now.

const int hiPins[3] = {9, 10, 11};
const int loPins[] = {3, 4, 5};
const int THROTTLE_PIN = 8;
const int ledPin = 13;

const int MIN_PULSE = 900, MAX_PULSE = 2150;
const int STOP_BELOW = 1120;

byte table[6][2] = { {0, 1}, {0, 2}, {1, 2}, {1, 0}, {2, 0}, {2, 1} };

void allOff() {
  for (int i = 0; i < 3; i++) {
    digitalWrite(hiPins[i], LOW);
    digitalWrite(loPins[i], LOW);
  }
}

void doStep(byte s) {
  allOff();
  delayMicroseconds(4);
  digitalWrite(loPins[table[s][1]], HIGH);
  digitalWrite(hiPins[table[s][0]], HIGH);
}

int readStick() {
  unsigned long w = pulseIn(THROTTLE_PIN, HIGH, 25000);
  if (w < MIN_PULSE || w > MAX_PULSE) return 0;
  return w;
}

void setup() {
  for (int i = 0; i < 3; i++) {
    pinMode(hiPins[i], OUTPUT);
    pinMode(loPins[i], OUTPUT);
  }
  pinMode(ledPin, OUTPUT);
  allOff();
  byte n = 0;
  while (n < 20) {
    int w = readStick();
    if (w && w < STOP_BELOW) n++; else n = 0;
  }
}

void loop() {
  digitalWrite(ledPin, !digitalRead(ledPin));
  int w = readStick();
  if (w > STOP_BELOW + 40) {
    // blind: just turns the field, short pulses so that nothing burns
    unsigned long us = 9000;
    for (int n = 0; n < 300; n++) {
      doStep(n % 6);
      delayMicroseconds(200);
      allOff();
      delayMicroseconds(us - 200);
      if (us > 2500) us -= us / 40;
    }
    allOff();
  }
}
