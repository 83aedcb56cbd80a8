/* Stands for a program that keeps a file to itself: HOLD-FILE FILE FLAG holds FILE open as long as FLAG is there. */
#include <windows.h>

int wmain(int count, wchar_t **words)
{
    HANDLE held = CreateFileW(words[1], GENERIC_READ, 0, NULL, OPEN_EXISTING, 0, NULL);
    if (count < 3 || held == INVALID_HANDLE_VALUE) return 1;
    /* Says that it holds it by taking the flag's name away and putting it back under another one. */
    wchar_t ready[MAX_PATH];
    wsprintfW(ready, L"%s.held", words[2]);
    if (!MoveFileW(words[2], ready)) return 1;
    while (GetFileAttributesW(ready) != INVALID_FILE_ATTRIBUTES) Sleep(20);
    return 0;
}
