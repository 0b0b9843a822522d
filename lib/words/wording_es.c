/*
 * Spanish. The same order and sense as the English texts; reviewed for sense by us alone, not by a
 * native speaker of the trade.
 */
#include "words/wording_texts.h"

const struct wording_texts wording_spanish =
    {
        .conditions =
            {
                [CONDITION_SUCTION_LOST] =
                    {ADVICE_FAN, "el sistema de radón ya no aspira",
                     "Ya no hay aspiración debajo del piso. Casi siempre el ventilador está "
                     "apagado "
                     "o ha fallado.",
                     "La aspiración debajo del piso ha vuelto.", "Succión perdida",
                     "La succión en el tubo está por debajo de la décima parte del valor de puesta "
                     "en "
                     "marcha.",
                     "Averigüe si el ventilador gira y tiene corriente; después, el tubo del "
                     "manómetro.",
                     "La succión en el tubo está otra vez sobre su límite."},
                [CONDITION_SUCTION_LOW] =
                    {ADVICE_FAN, "el sistema de radón aspira poco",
                     "La aspiración debajo del piso es más débil que el día en que se instaló.",
                     "La aspiración debajo del piso es fuerte otra vez.", "Succión baja",
                     "La succión en el tubo está muy por debajo del valor de puesta en marcha.",
                     "Distinga una fuga de un ventilador débil: mida caudal o potencia además de "
                     "la "
                     "succión.",
                     "La succión en el tubo está otra vez sobre su límite."},
                [CONDITION_SUCTION_HIGH] =
                    {ADVICE_BLOCK, "el sistema de radón aspira demasiado",
                     "La aspiración en el tubo es más fuerte que el día en que se instaló. Algo "
                     "puede "
                     "tapar el aire, como agua o hielo.",
                     "La aspiración en el tubo es normal otra vez.", "Succión alta",
                     "La succión en el tubo está muy por encima del valor de puesta en marcha.",
                     "Busque una obstrucción entre la losa y el manómetro: agua en un punto bajo, "
                     "pozo "
                     "lleno.",
                     "La succión en el tubo está otra vez bajo su límite."},
                [CONDITION_SUCTION_FADING] =
                    {ADVICE_FAN, "el sistema de radón se debilita poco a poco",
                     "La aspiración debajo del piso baja un poco cada mes. Hoy todavía funciona.",
                     "La aspiración debajo del piso ya no baja.", "Succión en descenso",
                     "La succión en el tubo baja de modo constante y llegará a su límite en medio "
                     "año.",
                     "Planee una visita; compare potencia y caudal con la puesta en marcha.",
                     "La succión en el tubo ya no baja hacia su límite."},
                [CONDITION_FIELD_WEAK] =
                    {ADVICE_FAN, "la aspiración es débil en un lugar",
                     "En un agujero de prueba del piso la aspiración es débil. Por ahí puede "
                     "entrar "
                     "radón.",
                     "La aspiración en el agujero de prueba es buena otra vez.",
                     "Campo de presión débil",
                     "La media del día en el agujero de prueba está por debajo de la mitad de su "
                     "valor "
                     "de puesta en marcha o de su valor mínimo.",
                     "Busque aberturas nuevas en la losa cerca del agujero y agua debajo de ella.",
                     "El campo de presión en el agujero de prueba ha vuelto."},
                [CONDITION_FAN_STOPPED] =
                    {ADVICE_FAN, "el ventilador de radón se ha parado",
                     "El ventilador casi no gasta corriente. Está apagado o ha fallado.",
                     "El ventilador gira otra vez.", "Ventilador parado",
                     "El ventilador casi no consume potencia.",
                     "Revise primero interruptor, fusible y enchufe; después, el ventilador.",
                     "El ventilador consume potencia otra vez."},
                [CONDITION_FAN_WEAK] =
                    {ADVICE_FAN, "el ventilador de radón se debilita",
                     "El ventilador gira más lento que el día en que se instaló. Puede estar "
                     "gastado.",
                     "El ventilador gira como antes.", "Ventilador débil",
                     "El ventilador gira más lento que en la puesta en marcha.",
                     "Planee cambiar el ventilador; compare su potencia con la puesta en marcha.",
                     "La velocidad del ventilador está otra vez dentro de su límite."},
                [CONDITION_FAN_FADING] =
                    {ADVICE_FAN, "el ventilador de radón gira cada vez más lento",
                     "El ventilador gira un poco más lento cada mes. Hoy todavía funciona.",
                     "El ventilador ya no pierde velocidad.", "Ventilador en declive",
                     "La velocidad del ventilador baja de forma constante y llegará a su límite "
                     "en un año.",
                     "Planee una visita: escuche los rodamientos, mire la descarga, lleve un "
                     "ventilador.",
                     "La velocidad del ventilador ya no baja hacia su límite."},
                [CONDITION_GROUND_CHANGED] =
                    {ADVICE_BLOCK, "el aire se mueve distinto debajo del piso",
                     "El suelo o el tubo deja pasar el aire de otra manera. Puede ser agua, una "
                     "grieta "
                     "nueva o una fuga.",
                     "El aire se mueve debajo del piso como antes.", "Suelo cambiado",
                     "La resistencia del campo de succión ha cambiado desde la puesta en marcha.",
                     "Busque agua, aberturas nuevas, tapas de sumidero abiertas y juntas sueltas.",
                     "La resistencia del campo de succión está otra vez en su rango."},
                [CONDITION_RADON_HIGH] =
                    {ADVICE_RADON, "el radón estuvo alto un día",
                     "La media del último día está muy por encima del nivel en que se debe "
                     "arreglar "
                     "una casa.",
                     "El radón ha bajado.", "Radón alto",
                     "La media de 24 h está por encima del doble del nivel de acción.",
                     "Revise primero succión y ventilador; después, aberturas en la losa y el "
                     "lugar "
                     "del monitor.",
                     "La media de 24 h está otra vez bajo su límite."},
                [CONDITION_RADON_ABOVE_ACTION] =
                    {ADVICE_RADON, "el radón es demasiado alto a la larga",
                     "La media de muchas semanas está por encima del nivel en que se debe arreglar "
                     "una casa.",
                     "La media de muchas semanas está otra vez por debajo de ese nivel.",
                     "Radón sobre el nivel de acción",
                     "La media de largo plazo alcanza o supera el nivel de acción, con una "
                     "probabilidad de al menos 95 %.",
                     "El sistema no cumple: haga una visita, mida el campo, busque lo que falta.",
                     "La media de largo plazo ya no supera con seguridad el nivel de acción."},
                [CONDITION_RADON_RISING] =
                    {ADVICE_RADON, "el radón sube poco a poco",
                     "El radón en la casa sube. Puede ser la estación del año o un cambio en la "
                     "casa.",
                     "El radón en la casa ya no sube.", "Radón en ascenso",
                     "La carta de control señala un ascenso duradero desde la puesta en marcha.",
                     "Compare con succión y campo; pregunte por cambios en la casa; piense en la "
                     "estación.",
                     "La carta de control ya no señala un ascenso."},
                [CONDITION_WATER_HIGH] =
                    {ADVICE_WATER, "hay mucha agua en el sistema de radón",
                     "El agua en el sumidero o el drenaje está muy alta. Puede tapar los tubos "
                     "debajo "
                     "del piso.",
                     "El agua en el sumidero o el drenaje ha bajado.", "Agua alta",
                     "El nivel de agua está sobre su límite.",
                     "Revise la bomba del sumidero y el drenaje antes que nada.",
                     "El nivel de agua está otra vez bajo su límite."},
                [CONDITION_SENSOR_SILENT] =
                    {ADVICE_SENSOR, "un sensor se ha callado",
                     "Un sensor del sistema de radón no envía nada. El ventilador puede estar "
                     "bien.",
                     "El sensor envía otra vez.", "Sensor callado",
                     "El sensor no ha enviado nada durante varios de sus intervalos.",
                     "Revise su pila o su corriente y su enlace de radio.",
                     "El sensor envía otra vez."},
                [CONDITION_SENSOR_STUCK] =
                    {ADVICE_SENSOR, "un sensor parece trabado",
                     "Un sensor muestra el mismo número desde hace días. Eso no puede ser.",
                     "El número del sensor se mueve otra vez.", "Sensor trabado",
                     "El valor del sensor no ha cambiado nada en dos días o más.",
                     "Compruebe el tubo y el sensor con una medida a mano; cámbielo si sigue "
                     "igual.",
                     "El valor del sensor se mueve otra vez."},
                [CONDITION_SENSOR_IMPLAUSIBLE] =
                    {ADVICE_SENSOR, "un sensor envía números raros",
                     "Un sensor envía números que no pueden ser.",
                     "Los números del sensor tienen sentido otra vez.", "Sensor no creíble",
                     "Los valores del sensor son imposibles, o saltaron como si fueran de otra "
                     "unidad.",
                     "Compare con una medida a mano; revise la unidad y el rango del sensor.",
                     "Los valores del sensor son creíbles otra vez."},
                [CONDITION_SENSOR_CLOCK] =
                    {ADVICE_SENSOR, "un sensor tiene mal la hora",
                     "El reloj de un sensor está mal. Sus números pueden estar bien.",
                     "El reloj del sensor está bien otra vez.", "Reloj del sensor mal puesto",
                     "Las horas del sensor se adelantan o saltan.",
                     "Ponga en hora su reloj o su fuente de hora; revise cómo indica la hora.",
                     "Las horas del sensor son correctas otra vez."},
                [CONDITION_BATTERY_LOW] =
                    {ADVICE_SENSOR, "la pila de un sensor está baja",
                     "Un sensor del sistema de radón necesita pronto una pila nueva.",
                     "La pila del sensor está bien otra vez.", "Pila baja",
                     "La pila del sensor está bajo su límite.",
                     "Cambie la pila en la próxima visita, antes de que el sensor se calle.",
                     "La pila está otra vez sobre su límite."},
                [CONDITION_SYSTEM_SILENT] =
                    {ADVICE_SILENT, "no sabemos nada del sistema de radón",
                     "Todos los sensores del sistema de radón se callaron juntos. Casi siempre la "
                     "cajita que envía por ellos (la pasarela) está sin corriente o sin internet.",
                     "Los sensores de la casa envían otra vez.", "Pasarela callada",
                     "Todos los puntos que ya debían haber enviado se callaron juntos: lo más "
                     "probable es su pasarela.",
                     "Mire primero la corriente de la pasarela y después su conexión (red, "
                     "internet, bróker). Pregunte en la casa antes de una visita.",
                     "Los puntos del sistema envían otra vez."},
                [CONDITION_FLEET_SILENT] =
                    {ADVICE_SILENT, "muchas casas se han callado",
                     "Muchas casas se callaron a la vez. Puede faltar la corriente o el internet "
                     "en "
                     "toda una zona.",
                     "La mayoría de las casas envía otra vez.", "Muchos sistemas callados",
                     "La mitad de los sistemas o más se calló en un cuarto de hora.",
                     "Busque un corte de corriente, un fallo de red o un bróker parado antes de "
                     "una "
                     "visita.",
                     "Los sistemas envían otra vez; lo que siga callado se avisa por separado."},
                [CONDITION_RETEST_DUE] =
                    {ADVICE_TEST, "es hora de una prueba de radón",
                     "Una casa con sistema de radón se debe medir al menos cada dos años.",
                     "La nueva prueba de radón está hecha.", "Prueba de radón pendiente",
                     "Ha pasado el plazo desde la última prueba de radón.",
                     "Acuerde una prueba con el ventilador en marcha; con la casa cerrada si es "
                     "corta.",
                     "La prueba de radón está anotada."},
                [CONDITION_VISIT_DUE] = {ADVICE_VISIT, "es hora de revisar el sistema",
                                         "Al sistema de radón le toca su revisión.",
                                         "La revisión está hecha.", "Visita pendiente",
                                         "Ha pasado el plazo de visita.",
                                         "Planee la visita; lleve el acta de puesta en marcha.",
                                         "La visita está anotada."},
                [CONDITION_CALIBRATION_DUE] =
                    {ADVICE_VISIT, "al monitor de radón le toca revisión",
                     "El monitor de radón se debe comprobar de vez en cuando, para poder confiar "
                     "en "
                     "sus números.",
                     "El monitor de radón está comprobado.", "Calibración pendiente",
                     "Ha pasado la fecha de calibración de un instrumento.",
                     "Hágalo calibrar o cámbielo; hasta entonces su incertidumbre no está "
                     "asegurada.",
                     "La calibración está anotada."},
                [CONDITION_BROKER_LOST] =
                    {ADVICE_SERVICE, "por ahora no oímos a los sensores",
                     "La computadora que vigila los sistemas de radón no recibe mensajes.",
                     "La computadora recibe mensajes otra vez.", "Bróker perdido",
                     "El servicio ha perdido la conexión con el bróker de mensajes.",
                     "Compruebe que el bróker funciona y se alcanza; las lecturas esperan allí.",
                     "El servicio está conectado al bróker otra vez."},
                [CONDITION_MESSAGES_REFUSED] =
                    {ADVICE_SERVICE, "algunos mensajes no se pueden leer",
                     "Nuestra computadora no entiende algunos mensajes de sensores.",
                     "Los mensajes de sensores se leen otra vez.", "Mensajes rechazados",
                     "Se rechazan muchos mensajes.",
                     "Vea qué temas y por qué con: subslabctl refused",
                     "Los mensajes se aceptan otra vez como siempre."},
                [CONDITION_STORE_FAILING] = {ADVICE_SERVICE,
                                             "por ahora no se guardan números nuevos",
                                             "La computadora que vigila los sistemas de radón no "
                                             "puede guardar números nuevos.",
                                             "Los números nuevos se guardan otra vez.",
                                             "Fallo del almacén",
                                             "Las lecturas no se pueden escribir; nada se "
                                             "confirma, el bróker las conserva.",
                                             "Revise el espacio y el disco del almacén; haga sitio "
                                             "antes de que el bróker se "
                                             "llene.",
                                             "Las lecturas se escriben otra vez."},
                [CONDITION_STORE_DAMAGED] =
                    {ADVICE_SERVICE, "hay números guardados dañados",
                     "Un archivo con números guardados está dañado. Buscaremos una copia.",
                     "Los números guardados están enteros otra vez.", "Almacén dañado",
                     "Hay lecturas guardadas dañadas. Un archivo dañado se aparta sin tocarlo y se "
                     "empieza uno nuevo; un día dañado se omite.",
                     "Conserve el archivo viejo, revise el disco, recupere la última copia; los "
                     "días los nombra: subslabctl verify",
                     "El almacén está entero otra vez."},
                [CONDITION_DELIVERY_FAILING] =
                    {ADVICE_SERVICE, "algunos avisos no se pudieron enviar",
                     "Algunos avisos no llegaron a quienes debían recibirlos.",
                     "Los avisos llegan otra vez.", "Fallo de entrega",
                     "Un contacto no acepta los mensajes.",
                     "Vea qué espera y por qué con: subslabctl deliveries --failed",
                     "Los mensajes se aceptan otra vez."},
                [CONDITION_CLOCK_JUMPED] =
                    {ADVICE_SERVICE, "nuestro reloj estaba mal",
                     "El reloj de la computadora que vigila los sistemas de "
                     "radón se puso de nuevo.",
                     "El reloj va bien.", "Salto del reloj",
                     "El reloj del servicio se cambió de golpe.",
                     "Revise la sincronización de hora; las lecturas de ese "
                     "momento pueden tener mal "
                     "la hora.",
                     "El reloj va parejo otra vez."},
                [CONDITION_READINGS_GAP] =
                    {ADVICE_SERVICE, "faltan algunos números",
                     "De un tiempo no tenemos números de los sensores.",
                     "Los números llegan otra vez.", "Hueco en las lecturas",
                     "Faltan lecturas que debían llegar; las medias de ese tiempo lo dicen.",
                     "Compruebe si el bróker guardó su cola y si el servicio estuvo parado.",
                     "Las lecturas llegan sin hueco otra vez."},
            },
        .advice =
            {
                [ADVICE_FAN] =
                    {"No es una emergencia. El radón hace daño en años, no en días. Pero no lo "
                     "deje "
                     "así durante semanas.",
                     "- Mire el tubo en U del tubo de aspiración. Si los dos lados están iguales, "
                     "el "
                     "ventilador no aspira.\n"
                     "- Vea si el interruptor del ventilador está encendido.\n"
                     "- Llame a {contractor}.\n",
                     "- No abra el ventilador ni toque sus cables. Eso le toca a un electricista "
                     "con "
                     "licencia.\n"
                     "- ¿Quema gas, petróleo o leña? Un ventilador puede traer gases de humo a la "
                     "casa. Si suena la alarma de monóxido de carbono (CO), salga y pida ayuda.\n"},
                [ADVICE_BLOCK] =
                    {"No es una emergencia. El radón hace daño en años, no en días. Pero tal vez "
                     "el "
                     "sistema no protege toda la casa.",
                     "- Mire el tubo en U del tubo de aspiración y anote los dos lados.\n"
                     "- Desde el suelo, vea si hay hielo o un nido arriba del tubo.\n"
                     "- Llame a {contractor}.\n",
                     "- No suba al techo. No abra el ventilador ni el tubo.\n"
                     "- ¿Quema gas, petróleo o leña? Un ventilador puede traer gases de humo a la "
                     "casa. Si suena la alarma de monóxido de carbono (CO), salga y pida ayuda.\n"},
                [ADVICE_RADON] =
                    {"No es una emergencia. El radón hace daño en años, no en días. Aun así, se "
                     "debe "
                     "buscar pronto la causa.",
                     "- Mire el tubo en U del tubo de aspiración. Si los dos lados están iguales, "
                     "el "
                     "ventilador no aspira.\n"
                     "- Deje el monitor en su lugar, lejos de ventanas y humedad.\n"
                     "- Llame a {contractor}.\n",
                     "- No apague el ventilador y no lo abra.\n"
                     "- No selle grietas antes de la visita. Muestran dónde buscar.\n"},
                [ADVICE_WATER] = {"El agua puede impedir la aspiración debajo del piso. El radón "
                                  "hace daño en años, "
                                  "no en días, pero el agua puede dañar enseguida.",
                                  "- Vea si la bomba del sumidero funciona.\n"
                                  "- Llame a {contractor}.\n",
                                  "- No toque bomba, enchufe ni cable si está parado en el agua.\n"
                                  "- No deje abierta la tapa del sumidero. El ventilador la "
                                  "necesita cerrada.\n"},
                [ADVICE_SENSOR] =
                    {"Se trata de la vigilancia, no del ventilador. No es una emergencia.",
                     "- Mire el tubo en U del tubo de aspiración. Si los dos lados son distintos, "
                     "el "
                     "ventilador aspira.\n"
                     "- {contractor} se ocupará del sensor. No hace falta llamar.\n",
                     "- No quite el sensor ni su manguera.\n"},
                [ADVICE_SILENT] =
                    {"No podemos ver si el ventilador gira. No es una emergencia. El radón hace "
                     "daño "
                     "en años, no en días.",
                     "- Mire el tubo en U del tubo de aspiración. Si los dos lados son distintos, "
                     "el "
                     "ventilador aspira.\n"
                     "- Vea si la pasarela tiene corriente y alguna luz encendida. Después, vea si "
                     "hay internet en la casa.\n"
                     "- Si los hay y todo sigue callado un día, llame a {contractor}.\n",
                     "- No abra el ventilador ni toque sus cables.\n"},
                [ADVICE_TEST] = {"Una prueba muestra si el sistema todavía cumple. No hay prisa.",
                                 "- Llame a {contractor} o pida un equipo de prueba.\n"
                                 "- Deje el ventilador encendido toda la prueba. En una prueba "
                                 "corta, ventanas y "
                                 "puertas cerradas.\n",
                                 NULL},
                [ADVICE_VISIT] = {"Es un plan, no una falla. No hay prisa.",
                                  "- {contractor} acordará un día con usted.\n"
                                  "- Por favor, deje libre el paso al ventilador y al tubo.\n",
                                  NULL},
                [ADVICE_SERVICE] =
                    {"Se trata de nuestra vigilancia, no del ventilador de la casa. No es una "
                     "emergencia.",
                     "- Mire de vez en cuando el tubo en U del tubo de aspiración. Si los dos "
                     "lados "
                     "son distintos, el ventilador aspira.\n"
                     "- {contractor} se ocupará. No hace falta llamar.\n",
                     NULL},
            },
        .quantities =
            {
                [QUANTITY_SUCTION] = "succión",
                [QUANTITY_FIELD] = "campo de presión",
                [QUANTITY_VELOCITY_PRESSURE] = "presión dinámica",
                [QUANTITY_AIRFLOW] = "caudal de aire",
                [QUANTITY_FAN_POWER] = "potencia del ventilador",
                [QUANTITY_FAN_CURRENT] = "corriente del ventilador",
                [QUANTITY_RADON] = "radón",
                [QUANTITY_INDOOR_TEMPERATURE] = "temperatura interior",
                [QUANTITY_OUTDOOR_TEMPERATURE] = "temperatura exterior",
                [QUANTITY_BAROMETRIC_PRESSURE] = "presión barométrica",
                [QUANTITY_HUMIDITY] = "humedad",
                [QUANTITY_WATER_LEVEL] = "nivel de agua",
                [QUANTITY_BATTERY] = "pila",
            },
        .causes =
            {
                [CAUSE_NONE] = "nada fuera de la variación usual",
                [CAUSE_FAN_OFF] = "ventilador apagado, sin corriente o trabado",
                [CAUSE_FAN_WORN] = "ventilador más lento que en la puesta en marcha",
                [CAUSE_LEAK] = "fuga antes del ventilador",
                [CAUSE_BLOCKED_BEFORE] = "obstrucción antes del manómetro",
                [CAUSE_BLOCKED_DISCHARGE] = "descarga tapada o hielo",
                [CAUSE_GAUGE_TUBE] = "manguera del manómetro suelta o tapada",
                [CAUSE_FIELD_LOST] = "campo de presión perdido en un agujero de prueba",
                [CAUSE_RADON_ENTRY] = "nueva entrada de radón, o el monitor",
                [CAUSE_UNIT_MIX_UP] = "sensor en otra unidad que antes",
                [CAUSE_SENSOR_FAULT] = "fallo del sensor de caudal o de potencia",
                [CAUSE_WATER_HIGH] = "agua en el sumidero o el drenaje",
                [CAUSE_UNKNOWN] = "no está claro con lo que se mide",
            },
        .months = {"enero", "febrero", "marzo", "abril", "mayo", "junio", "julio", "agosto",
                   "septiembre", "octubre", "noviembre", "diciembre"},
        .date = "{day} de {month} de {year}, {time}",
        .subject_prefix = {"", "Terminado: ", "Vino y se fue: ", "Confirmado: ", "Sigue abierto: ",
                           "Sin atender: ", "", "", "", "", "", "Viene y se va: ",
                           "Viene y se va: ", "Fin de aplazamiento: ", "", "", "Ya no se vigila: "},
        .plain_suffix = {"{subject}", "ya pasó", "una falla vino y se fue", "alguien se ocupa",
                         "sigue abierto, {subject}", "aún sin atender, {subject}",
                         "una prueba, no pasa nada", "un resumen", "es hora de una visita",
                         "hay cosas que mirar", "ya pasó", "{subject}, viene y se va",
                         "{subject}, viene y se va", "sigue abierto, {subject}",
                         "la vigilancia está apagada", "hay avisos que no llegaron",
                         "ya no se vigila"},
        .no_system = "el propio servicio de vigilancia",
        .no_fleet = "todos los sistemas",
        .the_contractor = "la empresa que instaló su sistema de radón",
        .where = "Dónde",
        .details = "Detalles",
        .since = "Desde",
        .ended = "Terminó",
        .acknowledged_by = "Confirmado por",
        .note = "Nota",
        .times = "Veces que vino",
        .value = "Lectura",
        .ratio = "Relación con la puesta en marcha",
        .probability = "Probabilidad",
        .lasted = "Durante",
        .time_left = "Tiempo restante",
        .limit = "límite",
        .baseline = "en la puesta en marcha",
        .unit = "Unidad",
        .unit_sent = "parece que envía {sent} donde está fijado {declared}; antes marcaba",
        .cause = "Causa",
        .confident = {"incierta", "posible", "probable"},
        .evidence = "Indicios",
        .check = "Revise primero",
        .bring = "Lleve",
        .action = "Qué hacer",
        .cautions = "Precauciones",
        .systems = "Sistemas",
        .reasons = "Motivos",
        .meaning = "Qué significa",
        .can_do = "Qué puede hacer",
        .leave_alone = "Qué no debe hacer",
        .it_was = "Qué fue: {subject}.",
        .measured = "Medido",
        .still_open = "Nadie lo ha confirmado todavía.",
        .not_taken_up = "El primer contacto no lo ha confirmado; por eso le llega a usted.",
        .nothing_to_do = "Ahora no hace falta hacer nada. Gracias por su paciencia.",
        .will_tell = "Le escribiremos de nuevo cuando haya pasado.",
        .over_check = "Ahora nada; busque la causa en la próxima visita.",
        .taken_on = "{by} lo sabe y se ocupará. No hace falta llamar.",
        .test_subject = "Mensaje de prueba",
        .test = "Es un mensaje de prueba. Ninguna alarma existe por él. Qué hacer: nada; si puede "
                "leer esto, los mensajes le llegan.",
        .plain_test =
            "Es una prueba. No pasa nada en la casa. No hace falta hacer nada. Muestra que "
            "nuestros mensajes le llegan.",
        .digest = "Resumen",
        .digest_plain = "Qué conviene saber",
        .digest_none = "Todo está como debe. Ninguna alarma está abierta.",
        .visit = "Visita pendiente",
        .plain_visit = "Al sistema de radón le toca una visita.",
        .caution_power = "Corte la corriente antes de abrir ventilador o interruptor; el trabajo "
                         "eléctrico le toca a un electricista con licencia.",
        .caution_backdraft = "Tras cualquier cambio de succión, ventilador o aberturas: prueba de "
                             "retroceso de gases en todos los aparatos de combustión.",
        .caution_codes = "Los códigos locales y la práctica con licencia van primero.",
        .bundle = "Varias alarmas a la vez",
        .bundle_plain = "Llegaron varias alarmas a la vez. Aquí están en un solo mensaje.",
        .bundle_over_plain = "Estas ya pasaron. Lo que siga abierto se avisa aparte.",
        .bundle_over = "Alarmas terminadas",
        .bundle_list = "Qué empezó, y cuándo",
        .bundle_over_list = "Qué terminó, y cuándo",
        .undelivered = "Alarmas sin entregar",
        .undelivered_plain = "Estas no llegaron; avise por otro medio. No se repetirá hasta que "
                             "llegue algún mensaje.",
        .undelivered_list = "Qué no se entregó, y desde cuándo",
        .and_more = "y %zu más",
        .chattering = "Viene y se va. Se avisará de nuevo cuando nada haya cambiado durante una "
                      "hora; el historial guarda cada cambio.",
        .chattering_plain = "Viene y se va. Le avisaremos cuando se quede de una manera.",
        .recurring =
            "Viene y se va: al menos la tercera vez en tres meses. Las siguientes quedan en "
            "el historial; se avisará de nuevo cuando lleve una semana o más presente o "
            "terminado.",
        .recurring_plain = "Viene y se va. No le escribiremos cada vez. Le avisaremos cuando lleve "
                           "una semana o más de una sola manera.",
        .changes = "Cambios en una hora",
        .until = "Hasta",
        .shelving_ends =
            "Se aplazó y sigue presente. Cuando el plazo termine, se avisará de nuevo.",
        .shelved_by = "Por",
        .why = "Motivo",
        .service = "Fuera de servicio",
        .service_ends =
            "La vigilancia de este sistema está apagada y vuelve sola a esa hora. Si "
            "el trabajo está hecho, devuélvalo al servicio ahora; si no, dé otro plazo.",
        .statuses = {"Fuera de límites", "Deriva", "Sin señal", "Fuera de servicio", "Aplazada",
                     "Pendiente"},
        .plain_statuses = {"No está como debe", "Se debilita poco a poco", "No envía nada",
                           "Vigilancia apagada", "Aplazado", "Pendiente"},
        .unwatched = "Los ajustes ya no vigilan esto, así que su alarma se cierra. No se vio que "
                     "terminara.",
        .unwatched_plain = "Ya no vigilamos esto. Eso no quiere decir que haya pasado. Llame a "
                           "{contractor} si quiere saber más.",
        .unwatched_check = "Si esto debe vigilarse, vuelva a activarlo en los ajustes.",
        .for_age = "desde hace",
};
