; What the agent says: short lines, 80 columns.

section .startdata
text_help:
        db "READOFF 0.1  keeps what programs report, with the configuration it came from", CR, LF
        db "  READOFF SNAP [options]                 a snapshot of the configuration", CR, LF
        db "  READOFF RUN [options] PROGRAM [args]   run it, keep what it prints and shows", CR, LF
        db "  READOFF SEND [options] [files]         files (* and ? too) as records", CR, LF
        db "  READOFF PROBE what [options]           memory display disk integer float all", CR, LF
        db "  READOFF STANDBY [options]              do what the host says; ESC ends it", CR, LF
        db CR, LF
        db "  /L:label      name of the configuration under test      /L:", 34, "zero wait", 34, CR, LF
        db "  /P:program    name of the program, if not its file's    /P:replay", CR, LF
        db "  /N:repeats    run it so many times                      /N:3", CR, LF
        db "  /T:seconds,R  mark a run that takes longer (R: reset)   /T:600", CR, LF
        db "  /F:pattern,KB keep files that it makes or changes       /F:*.LOG", CR, LF
        db "  /K:script     type for it: text, [keys], [pause 2]      /K:y[enter]", CR, LF
        db "  /H:letter     Ctrl-Alt-letter keeps the screen; -: none /H:K", CR, LF
        db "  /D:folder     where records go (the spool)              /D:C:\SPOOL", CR, LF
        db "  /S:COMn       offer all records of the spool to a host  /S:COM1", CR, LF
        db "  /KEEP         records stay in the spool when the host has kept them", CR, LF
        db CR, LF
        db "Options may also stand in the environment: SET READOFF=/L:base /S:COM1", CR, LF
        db "RUN takes batch files and internal commands too, and clears the screen before.", CR, LF
        db "SEND without files only offers the spool.", CR, LF
        db "Exit code: 0 all captured (kept by the host, where there is a line), 1 some is", CR, LF
        db "missing, 2 nothing was done, 3 the spool could not be written.", CR, LF
        db "READOFF.COM: ", 0
text_help_memory:       db " octets; in memory ", 0
text_help_runs:         db " during a run, ", 0
text_help_end:          db " otherwise", CR, LF, 0

text_no_command:        db " is no command (SNAP, RUN, SEND, PROBE, STANDBY). READOFF alone shows the help.", CR, LF, 0
text_not_here:          db " is not expected here. READOFF alone shows the help.", CR, LF, 0
text_no_option:         db " is no option, or its value is wrong. READOFF alone shows the help.", CR, LF, 0
text_no_value:          db " lacks a value or a closing quote.", CR, LF, 0
text_no_folder:         db " is no folder for the spool: no such drive, or too long.", CR, LF, 0
text_old_dos:           db "Readoff needs DOS 3.0 or later.", CR, LF, '$'
text_no_memory_here:    db "Readoff: not enough memory.", CR, LF, '$'

section .data
text_readoff:           db "Readoff: ", 0
text_no_program:        db "Readoff: RUN needs a program.", CR, LF, 0

text_spool:             db "Readoff: the spool ", 0
text_spool_full:        db " is full.", 0
text_spool_protected:   db " is write-protected.", 0
text_spool_not_ready:   db " is on a drive that is not ready.", 0
text_spool_path:        db " is not there.", 0
text_spool_error:       db " could not be written, DOS error ", 0
text_kept_in:           db "Readoff: record ", 0
text_snapshot:          db " (snapshot)", CR, LF, 0
text_windows:           db "Readoff: in a window of Windows: a time is not the program's alone here.", CR, LF, 0
text_file:              db " (file)", CR, LF, 0
text_run_of:            db " (run ", 0
text_of:                db " of ", 0
text_closing:           db ")", CR, LF, 0

text_outcomes:          dw text_finished, text_not_found, text_no_memory, text_refused
                        dw text_ctrl_c, text_critical, text_resident, text_spool_failed
                        dw text_finished, text_divided  ; a reset is never told
text_finished:          db 0
text_not_found:         db "Readoff: there is no such program.", CR, LF, 0
text_no_memory:         db "Readoff: not enough memory for the program.", CR, LF, 0
text_refused:           db "Readoff: DOS would not start the program.", CR, LF, 0
text_ctrl_c:            db "Readoff: the program was broken off by Ctrl-C.", CR, LF, 0
text_divided:           db "Readoff: the program was ended by a division without a result.", CR, LF, 0
text_critical:          db "Readoff: the program was ended by a critical error.", CR, LF, 0
text_resident:          db "Readoff: the program stays resident.", CR, LF, 0
text_spool_failed:      db "Readoff: the spool failed while the program ran (full, or a disk error).", CR, LF, 0
text_console_cut:       db "Readoff: not all that it printed could be kept.", CR, LF, 0
text_graphics_left:     db "Readoff: it left a graphics mode; its picture is kept, unless it is blank.", CR, LF, 0
text_picture_missing:   db "Readoff: it left a graphics mode; its picture could not be kept.", CR, LF, 0
text_screen_missing:    db "Readoff: the text screen could not be kept.", CR, LF, 0
text_over_time:         db "Readoff: it ran over its time.", CR, LF, 0
text_screens_missed:    db "Readoff: not every screen on the way could be kept.", CR, LF, 0
text_keys_left:         db "Readoff: not all keys of the script were typed.", CR, LF, 0
text_clock_ambiguous:   db "Readoff: the timer could be read to the tick only (55 ms).", CR, LF, 0
text_long_tail:         db "Readoff: the arguments are too long.", CR, LF, 0

text_no_file:           db " is not there.", CR, LF, 0
text_unreadable:        db " could not be read.", CR, LF, 0
text_file_cut:          db " is too long for a record: only its beginning was taken.", CR, LF, 0
text_is_record:         db " is a record already.", CR, LF, 0
