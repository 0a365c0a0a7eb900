/* Times libqrencode on the codes that stand on standard input, one a line:
   prints nanoseconds a symbol. Built by bench_test.go with gcc -lqrencode. */
#include <qrencode.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#define MOST 2000
static char codes[MOST][64];

int main(void) {
	int n = 0;
	while (n < MOST && fgets(codes[n], sizeof codes[n], stdin)) {
		codes[n][strcspn(codes[n], "\n")] = 0;
		n++;
	}
	if (n == 0) return 1;
	struct timespec from, to;
	clock_gettime(CLOCK_MONOTONIC, &from);
	for (int i = 0; i < n; i++) {
		QRcode *q = QRcode_encodeString(codes[i], 0, QR_ECLEVEL_H, QR_MODE_8, 1);
		if (!q || q->version != 1) return 2;
		QRcode_free(q);
	}
	clock_gettime(CLOCK_MONOTONIC, &to);
	printf("%.0f\n", ((to.tv_sec - from.tv_sec) * 1e9 + (to.tv_nsec - from.tv_nsec)) / n);
	return 0;
}
