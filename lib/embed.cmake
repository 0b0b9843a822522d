# Turns files into C arrays in the build folder: embed_files(TARGET NAME FILE…) adds to TARGET
#   NAME.h   `extern const unsigned char embedded_<file>[]; extern const size_t embedded_<file>_size;`
#   NAME.c   the bytes, with one zero behind them that the size does not count
# where <file> is the file's name with every character but letters and digits as "_":
# schema.sql becomes embedded_schema_sql. A changed file makes the next build configure again.
function(embed_files target name)
    set(folder ${CMAKE_BINARY_DIR}/embedded)
    set(header "#include <stddef.h>\n")
    set(source "#include \"${name}.h\"\n")
    foreach(file ${ARGN})
        get_filename_component(file ${file} ABSOLUTE BASE_DIR ${CMAKE_SOURCE_DIR})
        set_property(DIRECTORY ${CMAKE_SOURCE_DIR} APPEND PROPERTY CMAKE_CONFIGURE_DEPENDS ${file})
        get_filename_component(symbol ${file} NAME)
        string(MAKE_C_IDENTIFIER ${symbol} symbol)
        file(READ ${file} bytes HEX)
        string(LENGTH "${bytes}" digits)
        math(EXPR size "${digits} / 2")
        string(REGEX REPLACE "([0-9a-f][0-9a-f])" "0x\\1," bytes "${bytes}")
        string(REGEX REPLACE "(0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,)" "\\1\n"
               bytes "${bytes}")
        string(APPEND header "extern const unsigned char embedded_${symbol}[];\n"
               "extern const size_t embedded_${symbol}_size;\n")
        string(APPEND source "const unsigned char embedded_${symbol}[] = {\n${bytes}0};\n"
               "const size_t embedded_${symbol}_size = ${size};\n")
    endforeach()
    # file(CONFIGURE) writes only what changed, so that nothing else is compiled again.
    file(CONFIGURE OUTPUT ${folder}/${name}.h CONTENT "${header}" @ONLY)
    file(CONFIGURE OUTPUT ${folder}/${name}.c CONTENT "${source}" @ONLY)
    target_sources(${target} PRIVATE ${folder}/${name}.c)
    target_include_directories(${target} PRIVATE ${folder})
endfunction()

embed_files(edges store_schema ${edge_data})
