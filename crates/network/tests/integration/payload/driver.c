#include "NAME.h"
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

int number(double *value);
int flag(bool *value);
void tell(double value);

int number(double *value)
{
    char word[32];
    uint64_t bits;

    if (scanf("%31s", word) != 1) {
        return 0;
    }
    if (strcmp(word, "nan") == 0) {
        *value = NAN;
        return 1;
    }
    if (sscanf(word, "%" SCNx64, &bits) != 1) {
        return 0;
    }
    memcpy(value, &bits, sizeof bits);
    return 1;
}

int flag(bool *value)
{
    int word;

    if (scanf("%d", &word) != 1) {
        return 0;
    }
    *value = word != 0;
    return 1;
}

void tell(double value)
{
    uint64_t bits;

    memcpy(&bits, &value, sizeof bits);
    if (isnan(value)) {
        printf(" nan");
    } else {
        printf(" %016" PRIx64, bits);
    }
}

static char text[4096];
static uint8_t bytes[2048];

int main(void)
{
    char what;

    while (scanf(" %c", &what) == 1) {
        NAME record;
        uint8_t message[HIGH_BYTES + 1];
        size_t i, length;
        unsigned clamped = 0;
        int64_t received;
        int status;

        memset(&record, 0, sizeof record);
        if (what == 'e') {
            if (!(1 && READS)) {
                return 1;
            }
            message[HIGH_BYTES] = 0x5A;
            status = NAME_encode(&record, message, &clamped);
            printf("%d %u ", status, clamped);
            length = HIGH_BYTES;
            for (i = 0; i < length; i++) {
                printf("%02x", message[i]);
            }
            printf(length == 0 ? "-\n" : "\n");
            if (message[HIGH_BYTES] != 0x5A) {
                return 2;
            }
            continue;
        }
        if (scanf("%4095s %" SCNd64, text, &received) != 2) {
            return 3;
        }
        length = text[0] == '-' ? 0 : strlen(text) / 2;
        for (i = 0; i < length; i++) {
            unsigned byte;

            if (sscanf(text + 2 * i, "%2x", &byte) != 1) {
                return 4;
            }
            bytes[i] = (uint8_t)byte;
        }
        status = NAME_decode(bytes, length, RECEIVED&record);
        printf("%d", status);
        if (status == HIGH_OK) {
TELLS
        }
        printf("\n");
    }
    return 0;
}
