/* Wine 8 lacks this library of Windows 10; Windows' Node asks it for one function, random bytes. */
#include <windows.h>
#include <ntsecapi.h>

__declspec(dllexport) BOOL WINAPI ProcessPrng(PBYTE bytes, SIZE_T count)
{
    return SystemFunction036(bytes, (ULONG)count);
}
