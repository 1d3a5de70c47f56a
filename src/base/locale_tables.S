/*
 * The character tables of the C.UTF-8 locale, as the C library on the building machine has them. They
 * are only valid for that very C library, which is linked statically into the same binary.
 */
	.section .rodata
	.global locale_ctype_start
	.global locale_ctype_end
	.balign 16
locale_ctype_start:
	.incbin "/usr/lib/locale/C.utf8/LC_CTYPE"
locale_ctype_end:
	.byte 0
	.section .note.GNU-stack, "", @progbits
